"""What comes first after the first maneuver: resolution, a switch to another canal, reclassification, or loss from sight.

Estimated is, for first spells of positional vertigo treated in these clinics, the cumulative incidence by day t of each event as the
first one: P(event by t and before the others), t counted from day 0, the day of the first maneuver. All members are at risk from day
0 on, whatever is found later; what counts as a switch is said in pipeline.derive.first_events.

Resolution, a switch and reclassification are only known to have come between two looks. The primary estimates (incidence_...)
are therefore those of discrete cause-specific hazards on look intervals (pipeline.models.competing.fit_look_incidence). Loss is the
end of being seen and not of the vertigo: there it censors, on the assumption that those lost are like those still seen. The rows
seen_... put each event on the day on which it was seen, and let loss compete, by Aalen-Johansen: they describe what the clinics saw,
later than it happened, and need no assumption about those lost. A spell that is called resolved because the tests of its canal were
negative, on a day on which no other canal was tested, may hide a switch.
"""

import itertools
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.derive.first_events import CAUSES, SEEN_CAUSES, list_first_events
from pipeline.models.competing import LookIncidence, fit_aalen_johansen, fit_look_incidence
from pipeline.models.curves import Edge, bound_share, split_strata
from pipeline.models.guard import Refusal, check_sites, check_size
from pipeline.models.jackknife import RESTS_ON_ONE, refit_without_each_site
from pipeline.models.npmle_search import NotConverged
from pipeline.models.tidy import count_sites, state, tidy_estimates, withhold
from schemas.study import Config, Curves, Guards, Study

LIMITS = "limits: delete-one-site jackknife, complementary log-log scale"
METHODS = {
    "incidence": f"discrete cause-specific hazards on look intervals; {LIMITS}",
    "seen": f"Aalen-Johansen on the days on which events were seen, descriptive; {LIMITS}",
}
NO_EVENT = {"incidence": "event_free", "seen": "nothing_seen"}
NOTES = {
    "switched": "seen in another canal of the same ear that had been tested before, or recorded by the site with an attempt",
    "lost": "lost or withdrew, on the day of the last contact",
}
UNKNOWN = Refusal("not_identified", "the looks do not tell events before this day from later ones")


def estimate_competing_events(
    spells: pd.DataFrame,
    adjudications: pd.DataFrame,
    examinations: pd.DataFrame,
    findings: pd.DataFrame,
    treatments: pd.DataFrame,
    followups: pd.DataFrame,
    config: Config,
) -> pd.DataFrame:
    """The incidence of each event by each of config.study.curves.days, of all members and by canal (schemas.estimate.Estimates)."""
    primary = spells[spells["endpoint"].eq(config.study.resolution.primary)]
    tables = (adjudications, examinations, findings, treatments, followups)
    return estimate_incidences(list_first_events(primary, *tables, config.criteria), config.study)


def estimate_incidences(members: pd.DataFrame, study: Study) -> pd.DataFrame:
    """The incidences of first events, one row of `members` for each episode (pipeline.derive.first_events.list_first_events).

    Terms: incidence_<event>_day_<t> and event_free_day_<t> from look intervals, seen_<event>_day_<t> and nothing_seen_day_<t> from
    the days of looks. The events of a row are those known by its day.
    """
    rows = []
    for stratum, part in split_strata(members, (("canal",),)):
        for kind in METHODS:
            rows += [row | {"stratum": stratum} for row in _estimate_kind(part, kind, study.curves, study.guards)]
    shared = {"analysis": "competing_events", "population": "positional", "endpoint": study.resolution.primary}
    return tidy_estimates(rows, **shared)


def place_edges(curves: Curves, last: float) -> list[int]:
    """The ends of the bands: the reported days, the horizon, and from there twice the one before up to the `last` day on which an event was
    seen: were all that is later one part, an event seen there would count as one that may never come. And a day halfway between two
    of them, so that an incidence that rises evenly within a band is close to one that slows down."""
    later = itertools.takewhile(lambda day: day < 2 * last, (curves.horizon_day * 2**k for k in itertools.count()))
    days = sorted({0, *curves.days, curves.horizon_day, *later})
    return sorted({*days, *((a + b) // 2 for a, b in itertools.pairwise(days))})


class Asked(NamedTuple):
    """One term: how many are known to have had its event by its day, how many not to have had it, and what to keep in mind."""

    term: str
    known: int
    without: int
    note: str | None


def _estimate_kind(members: pd.DataFrame, kind: str, curves: Curves, guards: Guards) -> list[dict]:
    """All rows of one estimator in one stratum. Who was not looked at after day 0 tells nothing of an incidence, but can be seen to be lost."""
    causes = CAUSES if kind == "incidence" else SEEN_CAUSES
    if kind == "incidence":
        members = members[members["informative"]]
    asked = list(_ask(members, kind, causes, curves.days))
    shared = {"n_episodes": len(members), **count_sites(members["site"]), "method": METHODS[kind]}
    refused = check_size(len(members), len(members), guards) or check_sites(shared["n_sites"], guards)
    if refused is None:
        try:
            shares, identified = _estimate_shares(members, kind, causes, curves)
        except NotConverged as failure:
            refused = Refusal("not_converged", str(failure))
    if refused is not None:
        return [withhold(q.term, refused.status, refused.note, n_events=q.known, **shared) for q in asked]
    return [_state_share(q, shares, k, identified[k], shared, guards) for k, q in enumerate(asked)]


def _state_share(asked: Asked, shares: Edge, k: int, identified: bool, shared: dict, guards: Guards) -> dict:
    refused = check_size(shared["n_episodes"], asked.known, guards, asked.without)
    if refused is None and not identified:
        refused = UNKNOWN
    if refused is None and np.isnan(shares.error[k]):
        refused = RESTS_ON_ONE
    if refused is not None:
        return withhold(asked.term, refused.status, refused.note, n_events=asked.known, **shared)
    bounds = {"std_error": shares.error[k], "lower": shares.low[k], "upper": shares.high[k]}
    return state(asked.term, shares.share[k], **bounds, n_events=asked.known, note=asked.note, **shared)


def _ask(members: pd.DataFrame, kind: str, causes: tuple[str, ...], days: tuple[int, ...]) -> Iterator[Asked]:
    """Each event on each day, then no event on each day, whose events are those of any kind."""
    name, left, right = (
        ("cause", "left_days", "right_days") if kind == "incidence" else ("seen_cause", *["seen_day"] * 2)
    )
    happened = {day: members[right].le(day) & members[name].ne("none") for day in days}
    free = {day: int((members[left].ge(day) & ~happened[day]).sum()) for day in days}
    for cause in causes:
        for day in days:
            own = int((happened[day] & members[name].eq(cause)).sum())
            others = int(happened[day].sum()) - own
            yield Asked(f"{kind}_{cause}_day_{day}", own, others + free[day], NOTES.get(cause))
    for day in days:
        yield Asked(f"{NO_EVENT[kind]}_day_{day}", int(happened[day].sum()), free[day], None)


def _estimate_shares(
    members: pd.DataFrame, kind: str, causes: tuple[str, ...], curves: Curves
) -> tuple[Edge, np.ndarray]:
    """The share of each term with its limits, which are nan where it hangs on one site, and whether the data fix it: (terms,) each.

    The limits of an event are those of the curves for its complement, so that they are on the complementary log-log scale of the event.
    """
    fit: Callable = _fit_looks if kind == "incidence" else _fit_seen
    is_event = np.repeat([True, False], [len(causes) * len(curves.days), len(curves.days)])

    def refit(kept: np.ndarray) -> np.ndarray:
        shares, fixed = fit(members[kept], causes, curves)
        return np.where(fixed, shares, np.nan)

    shares, identified = fit(members, causes, curves)
    without = refit_without_each_site(members["site"].to_numpy(str), refit)
    sizes = members.groupby("site").size().to_numpy()
    rest = bound_share(
        np.where(is_event, 1 - shares, shares), np.where(is_event, 1 - without, without), np.ones(len(sizes)), sizes
    )
    low, high = np.where(is_event, 1 - rest.high, rest.low), np.where(is_event, 1 - rest.low, rest.high)
    return Edge(shares, rest.error, low, high), identified


def _fit_looks(members: pd.DataFrame, causes: tuple[str, ...], curves: Curves) -> tuple[np.ndarray, np.ndarray]:
    left, right = members["left_days"].to_numpy(float), members["right_days"].to_numpy(float)
    edges = place_edges(curves, right[np.isfinite(right)].max(initial=0))
    fit: LookIncidence = fit_look_incidence(left, right, _number(members["cause"], causes), len(causes), edges)
    at = [edges.index(day) - 1 for day in curves.days]
    shares = np.vstack([fit.incidence[:, at], fit.survival[at]])
    identified = np.vstack([fit.identified[:, at], fit.survival_identified[at]])
    return shares.ravel(), identified.ravel()


def _fit_seen(members: pd.DataFrame, causes: tuple[str, ...], curves: Curves) -> tuple[np.ndarray, np.ndarray]:
    fit = fit_aalen_johansen(members["seen_day"].to_numpy(float), _number(members["seen_cause"], causes), len(causes))
    at = [fit.at(day) for day in curves.days]
    shares = np.column_stack([np.append(incidence, survival) for survival, incidence, _ in at])
    return shares.ravel(), np.ones(shares.size, dtype=bool)


def _number(cause: pd.Series, causes: tuple[str, ...]) -> np.ndarray:
    return cause.map({"none": 0} | {name: number for number, name in enumerate(causes, start=1)}).to_numpy(int)
