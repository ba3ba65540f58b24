"""When positional vertigo resolved, with the days on which clinics tested as evidence.

Estimated is, for first spells of treated positional vertigo, the share resolved by day t under the
care that was given. A likelihood of intervals takes the days of tests as given; where clinics test
on different days, where symptoms bring patients back sooner, or where who failed is treated again
at the very test, its shares of the first days are too low. Here the days are part of the model
(pipeline/statistics/hidden_end.py):

- the hazard of resolution has a natural rate by canal and band of days, and a jump on the day
  after a session, by canal, the first session apart from later ones;
- a planned test depends on the site, the days since the last session or test, and what that test
  showed; a test that symptoms bring about depends on whether the vertigo lasts;
- what patients say of positional symptoms, by telephone or otherwise, is evidence too.

A test is about as often right as the plan says (config/study.yaml, misreading), which counts like
TESTS tests of these records, this project's proposal; what hangs on it is told beside. Whoever is
not recorded as lost is taken to be under observation up to the horizon, and so their staying away
is evidence. Limits leave out one site at a time, each refitted from the whole, or are exact at the
number of episodes, as if each were watched all the time. Of a day by which fewer were tested or
asked than the plan wants for a number, none is given: form alone would tell it.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd

from pipeline.analyses.resolution.curves import NOBODY
from pipeline.derivation.states import find_states, mark_confirming, select_deciding_tests
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.hidden_end import Courses, HiddenEnd, fit_hidden_end
from pipeline.statistics.jackknife import RESTS_ON_ONE
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.share_limits import bound_share
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Examinations, Followups, Treatments
from schemas.derived import Adjudications, Findings, Spells
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import Config

METHOD = (
    "hidden state with the days of tests as evidence (EM); limits: delete-one-site jackknife, "
    "complementary log-log scale, or exact where these reach further"
)
BANDS = np.array([1, 4, 8, 15, 31])  # first days of the bands of the natural hazard
GAPS = np.array([1, 2, 3, 4, 6, 7, 8, 9, 12, 14, 15, 16, 22, 28, 29, 36])  # days since the last
CANALS = ("posterior", "lateral")  # each with hazards of its own; all others together
WAITING, CLEARED, KEPT_ON = 0, 1, 2  # no test since the session, negative, positive and no session
STATES = ("resolved", "unresolved")
TESTS = 200.0  # of so many tests it is as if misreading were as the plan says
SURE = 1e9  # of any number
USABLE = ("resolved", "unresolved", "not_tested_again")  # of a first spell


def estimate_joint(
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    adjudications: Frame[Adjudications],
    spells: Frame[Spells],
    config: Config,
) -> Frame[Estimates]:
    """Shares resolved by the days of the plan, of all and by canal, and what the model found."""
    members = list_members(adjudications, spells)
    looks = select_deciding_tests(examinations, findings, adjudications, config.criteria)
    courses = lay_out(members, looks, treatments, followups, config)
    rows = list(_estimate(members, courses, config))
    return tidy_estimates(
        rows,
        analysis="joint_resolution",
        population="positional",
        endpoint=config.study.resolution.primary,
        method=METHOD,
    )


def list_members(adjudications: Frame[Adjudications], spells: Frame[Spells]) -> pd.DataFrame:
    """One row for each episode that enters: site, episode_id, canal, and the last day on which its
    first spell can be watched (inf if nothing ends it)."""
    objective = spells[spells["endpoint"].eq("objective")]
    first = objective[objective["spell"].eq(1) & objective["status"].isin(USABLE)]
    positional = adjudications.loc[
        adjudications["positional"].eq("yes"), [*EPISODE, "canal", "reclassified_day"]
    ]
    members = first[EPISODE].merge(positional, on=EPISODE, validate="one_to_one")
    again = objective[objective["spell"].eq(2)].set_index(EPISODE)["start_day"]
    until = members[EPISODE].join(again.rename("again"), on=EPISODE)["again"]
    ends = pd.concat([until.astype(float), members["reclassified_day"].astype(float)], axis=1)
    last = (ends.min(axis=1) - 1).fillna(np.inf)
    return members[[*EPISODE, "canal"]].assign(last=last.to_numpy(float))


def lay_out(
    members: pd.DataFrame,
    looks: pd.DataFrame,
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    config: Config,
) -> Courses:
    """What was seen of each member on each day from 1 to the horizon."""
    horizon, n = config.study.curves.horizon_day, len(members)
    place = pd.Series(np.arange(n), pd.MultiIndex.from_frame(members[EPISODE]))

    def at(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
        """Row and column of each of these, those outside left out."""
        found = place.reindex(pd.MultiIndex.from_frame(rows[EPISODE])).to_numpy(float)
        day = rows["day"].to_numpy(float)
        inside = ~np.isnan(found) & (day >= 1) & (day <= horizon)
        return found[inside].astype(int), day[inside].astype(int) - 1

    shape = (n, horizon)
    looked, shown = np.zeros(shape, bool), np.full(shape, -1)
    looked[at(looks)] = True
    confirming = mark_confirming(
        looks, treatments, config.maneuvers, config.study.resolution.confirmation_day
    )
    states = find_states(looks.assign(confirming=confirming))
    for number, name in ((0, "negative"), (1, "positive")):
        shown[at(states[states["state"].eq(name)])] = number
    said = np.full(shape, -1)
    for number, name in ((0, "no"), (1, "yes")):  # symptoms on a day outweigh a denial
        said[at(followups[followups["positional_symptoms"].eq(name)])] = number
    moves = treatments[
        ~treatments["maneuver"].map(lambda code: config.maneuvers[code].kind).isin(["observation"])
    ]
    treated = np.zeros((n, horizon + 1), bool)  # from day 0 on
    treated[at(moves.assign(day=moves["day"] + 1))] = True  # column k: a session on day k
    gone = followups[followups["end_of_followup"].isin(["lost", "withdrew", "completed"])]
    ended = gone.groupby(EPISODE)["day"].min().rename("ended")  # on day 0 too: watched on none
    left = members[EPISODE].join(ended, on=EPISODE)["ended"].astype(float).fillna(np.inf)
    last = np.minimum(members["last"].to_numpy(float), left.to_numpy(float))
    days = np.arange(1, horizon + 1)
    watched = days <= last[:, None]
    canal = members["canal"].map({name: k for k, name in enumerate(CANALS)}).fillna(len(CANALS))
    canal = canal.to_numpy(int)[:, None]
    band = np.searchsorted(BANDS, days, side="right") - 1
    rank = np.cumsum(treated[:, :-1], axis=1)
    done = np.where(treated[:, :-1], 1 + 2 * canal + (rank > 1), 0)
    misreading = config.study.misreading
    return Courses(
        part=canal * len(BANDS) + band[None, :],
        done=done,
        habit=_number_habits(members["site"].to_numpy(str), treated[:, :-1], looked, shown),
        watched=watched,
        looked=looked & watched,
        shown=np.where(watched, shown, -1),
        said=np.where(watched, said, -1),
        belief=(TESTS, 1 - misreading.specificity, misreading.sensitivity),
    )


def _number_habits(
    sites: np.ndarray, treated: np.ndarray, looked: np.ndarray, shown: np.ndarray
) -> np.ndarray:
    """The habit that a planned test of each day would follow: while a session waits for its test a
    site's own by days since; after a test, of all sites by what it showed and days since."""
    n, horizon = looked.shape
    _, site = np.unique(sites, return_inverse=True)
    gaps, habit = len(GAPS), np.zeros((n, horizon), int)
    since = np.zeros(n, int)
    phase = np.full(n, WAITING)
    offset = (site.max(initial=0) + 1) * gaps
    for k in range(horizon):  # the day is k + 1
        again = treated[:, k]
        phase[again], since[again] = WAITING, 0
        since += 1
        gap = np.searchsorted(GAPS, since, side="right") - 1
        own, shared = site * gaps + gap, offset + (phase - 1) * gaps + gap
        habit[:, k] = np.where(phase == WAITING, own, shared)
        came = looked[:, k]
        since[came] = 0
        phase[came & (shown[:, k] == 0)] = CLEARED
        phase[came & (shown[:, k] == 1)] = KEPT_ON
    return habit


def _estimate(members: pd.DataFrame, courses: Courses, config: Config) -> Iterator[dict]:
    """All rows: of the whole, then of each canal from the same fits, then of the model."""
    days = config.study.curves.days
    parts = {"all": np.full(len(members), True)}
    for canal in sorted(members["canal"].unique()):
        parts[f"canal={canal}"] = members["canal"].eq(canal).to_numpy()
    sites = members["site"].to_numpy(str)
    asked = np.cumsum((courses.shown >= 0) | (courses.said >= 0), axis=1) > 0
    refused = check_sites(len(np.unique(sites)), config.study.guards)
    if refused is None:
        try:
            whole = fit_hidden_end(courses)
            varied = [
                _fit_otherwise(courses, whole, pair) for pair in config.study.misreading.varied
            ]
            without = [
                (sites != site, fit_hidden_end(courses.keep(sites != site), whole.rates))
                for site in np.unique(sites)
            ]
        except NotConverged as failure:
            refused = Refusal("not_converged", str(failure))
    for stratum, members_of in parts.items():
        where: Fields = {"stratum": stratum, "n_episodes": int(members_of.sum())}
        where |= count_sites(sites[members_of])
        few = refused or check_size(where["n_episodes"], None, config.study.guards)
        few = few or check_sites(where["n_sites"], config.study.guards)
        if few:
            yield from (
                withhold(f"resolved_by_day_{day}", few.status, few.note, **where) for day in days
            )
            continue
        known = asked[members_of].sum(axis=0)
        yield from _state_shares(whole, without, sites, members_of, known, where, config)
        if stratum == "all":
            told = tuple(d for d in days if known[d - 1] >= config.study.guards.min_episodes)
            yield from _state_misread([whole, *varied], where, told)
            yield from _state_rates(whole, where)


def _fit_otherwise(courses: Courses, whole: HiddenEnd, pair: tuple[float, float]) -> HiddenEnd:
    """The fit with sensitivity and specificity held at other values."""
    return fit_hidden_end(replace(courses, belief=(SURE, 1 - pair[1], pair[0])), whole.rates)


def _share(fit: HiddenEnd, rows: np.ndarray, days: tuple[int, ...]) -> np.ndarray:
    """The share of some people resolved by each day; nan where there are none."""
    if not rows.any():
        return np.full(len(days), np.nan)
    return fit.weight[rows].mean(axis=0).cumsum()[np.array(days) - 1]


def _state_shares(
    whole: HiddenEnd,
    without: list[tuple[np.ndarray, HiddenEnd]],
    sites: np.ndarray,
    rows: np.ndarray,
    known: np.ndarray,
    where: dict,
    config: Config,
) -> Iterator[dict]:
    """Shares by day with limits; of the refits, those without one of the sites of these rows.

    `known` is how many of them had been tested or asked by each day from 1 on.
    """
    days, guards = config.study.curves.days, config.study.guards
    own = set(sites[rows])
    moved = np.array(
        [
            1 - _share(fit, rows[kept], days)
            for (kept, fit), site in zip(without, np.unique(sites), strict=True)
            if site in own
        ]
    )
    share = 1 - _share(whole, rows, days)
    sizes = np.unique(sites[rows], return_counts=True)[1]
    edge = bound_share(share, moved, np.ones(len(sizes)), sizes, np.full(len(days), rows.sum()))
    for k, day in enumerate(days):
        term = f"resolved_by_day_{day}"
        if known[day - 1] < guards.min_episodes:
            yield withhold(term, NOBODY.status, NOBODY.note, **where)
            continue
        if np.isnan(edge.error[k]):
            yield withhold(term, RESTS_ON_ONE.status, RESTS_ON_ONE.note, **where)
            continue
        told = where | {"std_error": edge.tell_error(k)}
        yield state_within(
            term, 1 - share[k], 1 - edge.high[k], 1 - edge.low[k], SHARE, guards, **told
        )


def _state_misread(fits: list[HiddenEnd], where: dict, days: tuple[int, ...]) -> Iterator[dict]:
    """The least and the greatest share under the rates of misreading of the plan."""
    shares = np.array([fit.share_ended(days) for fit in fits])
    for k, day in enumerate(days):
        yield state(f"resolved_by_day_{day}_least_misread", shares[:, k].min(), **where)
        yield state(f"resolved_by_day_{day}_greatest_misread", shares[:, k].max(), **where)


def _state_rates(fit: HiddenEnd, where: dict) -> Iterator[dict]:
    for k, name in enumerate(STATES):
        yield state(f"unplanned_tests_{name}", fit.rates.chosen[k], **where)
        yield state(f"reported_{name}", fit.rates.telling[k], **where)
        yield state(f"tests_positive_{name}", fit.rates.showing[k], **where)
