"""Episodes day by day, as the joint model of resolution and of tests sees them.

Of each first spell of treated positional vertigo, for each day from 1 to the horizon: which natural
rate of resolution holds (by variant and days since the first session); what acts on it of what was
done, a maneuver on the day after its session, a course of exercises on each of its days until the
next session (by variant, family of maneuver, and whether it was the first session, the same family
again or another); which habit a planned test would follow, whether a test came and why, what it
showed, and what the patient reported. A class with few episodes or sessions is counted with the
next wider one: a variant with its canal, a canal with all others, a family with all of its kind of
session.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.adjudication.maneuvers import MOVES_NOTHING
from pipeline.derivation.states import find_states, mark_confirming
from pipeline.statistics.hidden_end_model import (
    CHOSEN,
    LATE_NEGATIVE,
    NEGATIVE,
    NO_TEST,
    NOT_SEEN,
    PLANNED,
    POSITIVE,
    TESTED,
    UNWATCHED,
    Sizes,
)
from schemas.columns import Frame
from schemas.delivery import Followups, Treatments
from schemas.derived import Adjudications, ExaminedDays, Spells
from schemas.keys import EPISODE
from schemas.study import Config

USABLE = ("resolved", "unresolved", "not_tested_again")  # of a first spell
BANDS = np.array([1, 4, 8, 15, 31])  # first days of the bands of the natural rate
GAPS = np.array([1, 2, 3, 4, 6, 7, 8, 9, 12, 14, 15, 16, 22, 28, 29, 36])  # days since the last
CANALS = ("posterior", "lateral")  # each with rates of its own; all others together
OTHER_CANALS = "other canals"
BETWEEN = "/"  # the parts of the name of a variant
LEAST_OWN = 50  # episodes of a variant, or sessions of a family, with a rate of its own
WAITING, CLEARED, KEPT_ON = 0, 1, 2  # no test since the session, negative, positive and no session
FIRST, SAME, ANOTHER, LATER = "first", "same family again", "another family", "later"
ANY_FAMILY = ""


class Jump(NamedTuple):
    """A class of sessions: of which variant, what came before, the family (none: any), and on how
    many days one acts."""

    variant: str
    kind: str
    family: str
    days: int = 1


@dataclass(frozen=True)
class Classes:
    """Which rates of resolution hold on each day, (n, H); 0 of `jump` is a day on which nothing
    done before acts. Natural rates are numbered by variant and band, jumps from 1 on as `jumps`."""

    natural: np.ndarray
    jump: np.ndarray
    variants: tuple[str, ...]
    jumps: tuple[Jump, ...]

    def find_jump(self, variant: str, kind: str, family: str) -> int:
        """The place in `jumps` of a class of sessions, on however many days it acts."""
        return [jump[:3] for jump in self.jumps].index((variant, kind, family))


@dataclass(frozen=True)
class Days:
    """What was seen of each member on each day from 1 to the horizon, and what was done: arrays of
    (n, H) as in Courses; `sessions` has one row a member and day on which debris was to be moved:
    row (of the arrays), day, family, acts_days, kind (FIRST, SAME or ANOTHER), by row and day."""

    habit: np.ndarray
    coming: np.ndarray
    result: np.ndarray
    report: np.ndarray
    sessions: pd.DataFrame
    n_habits: int


def list_members(adjudications: Frame[Adjudications], spells: Frame[Spells]) -> pd.DataFrame:
    """One row for each episode that enters: site, episode_id, the variant, left and
    right (the days between which tests put its resolution; 0 and inf without tests), and the last
    day on which its first spell can be watched (inf if nothing ends it)."""
    objective = spells[spells["endpoint"].eq("objective")]
    first = objective[objective["spell"].eq(1) & objective["status"].isin(USABLE)]
    variant = ["canal", "arm", "arm_basis", "mechanism"]
    positional = adjudications.loc[
        adjudications["positional"].eq("yes"), [*EPISODE, *variant, "reclassified_day"]
    ]
    tested = first["status"].ne("not_tested_again")
    between = first[EPISODE].assign(
        left=first["left_days"].astype(float).where(tested, 0.0),
        right=first["right_days"].astype(float).where(tested, np.inf),
    )
    members = between.merge(positional, on=EPISODE, validate="one_to_one")
    recurred = objective[objective["spell"].eq(2)].set_index(EPISODE)["start_day"]
    recurred = members[EPISODE].join(recurred.rename("recurred"), on=EPISODE)["recurred"]
    # the test that shows a recurrence is seen: it may show that an earlier one was misread
    reclassified = members["reclassified_day"].astype(float) - 1
    ends = pd.concat([recurred.astype(float), reclassified], axis=1)
    last = ends.min(axis=1).fillna(np.inf)
    return members[[*EPISODE, *variant, "left", "right"]].assign(last=last.to_numpy(float))


def lay_out_days(
    members: pd.DataFrame,
    tests: pd.DataFrame,
    examined_days: Frame[ExaminedDays],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    config: Config,
) -> Days:
    """What was seen of each member on each day; `tests` are those that decide on resolution, and
    `examined_days` say why they came about, where that is recorded."""
    horizon, n = config.study.curves.horizon_day, len(members)
    position = pd.Series(np.arange(n), pd.MultiIndex.from_frame(members[EPISODE]))

    def locate(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
        """Row and column of each of these, those outside left out."""
        row = position.reindex(pd.MultiIndex.from_frame(rows[EPISODE])).to_numpy(float)
        day = rows["day"].to_numpy(float)
        inside = ~np.isnan(row) & (day >= 1) & (day <= horizon)
        return row[inside].astype(int), day[inside].astype(int) - 1

    tested, result = np.zeros((n, horizon), bool), np.full((n, horizon), NOT_SEEN)
    tested[locate(tests)] = True
    confirming = mark_confirming(
        tests, treatments, config.maneuvers, config.study.resolution.confirmation_day
    )
    states = find_states(tests.assign(confirming=confirming))
    for number, name in ((NEGATIVE, "negative"), (POSITIVE, "positive")):
        result[locate(states[states["state"].eq(name)])] = number
    report = np.full((n, horizon), NOT_SEEN)
    for number, name in ((0, "no"), (1, "yes")):  # symptoms on a day outweigh a denial
        report[locate(followups[followups["positional_symptoms"].eq(name)])] = number
    sessions = list_sessions(treatments, config)
    row, day = locate(sessions.assign(day=sessions["day"] + 1))
    treated = np.zeros((n, horizon), bool)  # column k: a session on day k
    treated[row, day] = True
    result = mark_late(result, config.study.resolution.recurrence_gap)
    coming = np.where(tested, TESTED, NO_TEST)
    for number, reason in ((PLANNED, "planned"), (CHOSEN, "symptoms")):
        of_reason = np.zeros((n, horizon), bool)
        of_reason[locate(examined_days[examined_days["reason"].eq(reason)])] = True
        coming[of_reason & tested] = number
    watched = np.arange(1, horizon + 1) <= _find_last_day(members, followups)[:, None]
    habit = number_habits(members["site"].to_numpy(str), treated, tested, result)
    inside = position.reindex(pd.MultiIndex.from_frame(sessions[EPISODE])).to_numpy(float)
    known = sessions.assign(row=inside)[~np.isnan(inside) & sessions["day"].lt(horizon)]
    known = known.sort_values(["row", "day"], kind="stable")
    return Days(
        habit=habit,
        coming=np.where(watched, coming, UNWATCHED),
        result=np.where(watched, result, NOT_SEEN),
        report=np.where(watched, report, NOT_SEEN),
        sessions=known.astype({"row": int}),
        n_habits=(members["site"].nunique() + 2) * len(GAPS),
    )


def list_sessions(treatments: Frame[Treatments], config: Config) -> pd.DataFrame:
    """One row an episode and day on which something was done to move debris, sorted: its key, day,
    family (those of one day joined), acts_days (of one that is not joined by a shorter one) and
    kind: the first session, the same family as the one before, or another."""
    moving = {
        code: maneuver
        for code, maneuver in config.maneuvers.items()
        if maneuver.kind not in MOVES_NOTHING
    }
    moves = treatments.assign(
        family=treatments["maneuver"].map({code: each.family for code, each in moving.items()}),
        acts_days=treatments["maneuver"].map({c: each.acts_days for c, each in moving.items()}),
    )
    moves = moves.dropna(subset="family").sort_values([*EPISODE, "day", "attempt"])
    sessions = moves.groupby([*EPISODE, "day"], sort=True).agg(
        family=("family", lambda given: " ".join(dict.fromkeys(given))),
        acts_days=("acts_days", "min"),
    )
    sessions = sessions.astype({"acts_days": int}).reset_index()
    before = sessions.groupby(EPISODE)["family"].shift()
    kind = np.where(before.eq(sessions["family"]), SAME, ANOTHER)
    return sessions.assign(kind=np.where(before.isna(), FIRST, kind))


def _find_last_day(members: pd.DataFrame, followups: Frame[Followups]) -> np.ndarray:
    """The last day on which a test of each member could be heard of; inf where nothing ends it."""
    gone = followups[followups["end_of_followup"].isin(["lost", "withdrew", "completed"])]
    ended = gone.groupby(EPISODE)["day"].min().rename("ended")  # on day 0 too: watched on none
    left = members[EPISODE].join(ended, on=EPISODE)["ended"].astype(float).fillna(np.inf)
    return np.minimum(members["last"].to_numpy(float), left.to_numpy(float))


def mark_late(result: np.ndarray, gap: int) -> np.ndarray:
    """What tests showed, those `gap` days or more after the first negative one in a row as late:
    a positive one may be a recurrence."""
    late, negative_since = result.copy(), np.full(len(result), np.inf)
    for k in range(result.shape[1]):
        is_late = (result[:, k] != NOT_SEEN) & (k - negative_since >= gap)
        late[is_late, k] += LATE_NEGATIVE - NEGATIVE
        negative_since[(result[:, k] == NEGATIVE) & np.isinf(negative_since)] = k
        negative_since[result[:, k] == POSITIVE] = np.inf
    return late


def number_habits(
    sites: np.ndarray, treated: np.ndarray, tested: np.ndarray, result: np.ndarray
) -> np.ndarray:
    """The habit that a planned test of each day would follow: while a session waits for its test a
    site's own by days since; after a test, of all sites by what it showed and days since."""
    n, horizon = tested.shape
    _, site = np.unique(sites, return_inverse=True)
    gaps, habit = len(GAPS), np.zeros((n, horizon), int)
    since = np.zeros(n, int)
    phase = np.full(n, WAITING)
    shared = (site.max(initial=0) + 1) * gaps
    for k in range(horizon):  # the day is k + 1
        phase[treated[:, k]], since[treated[:, k]] = WAITING, 0
        since += 1
        gap = np.searchsorted(GAPS, since, side="right") - 1
        of_site, of_all = site * gaps + gap, shared + (phase - 1) * gaps + gap
        habit[:, k] = np.where(phase == WAITING, of_site, of_all)
        came = tested[:, k]
        since[came] = 0
        phase[came & (result[:, k] == NEGATIVE)] = CLEARED
        phase[came & (result[:, k] == POSITIVE)] = KEPT_ON
    return habit


def classify_canals(members: pd.DataFrame) -> np.ndarray:
    """The canal of each member, all but the usual ones together."""
    return members["canal"].where(members["canal"].isin(CANALS), OTHER_CANALS).to_numpy(str)


def classify_variants(members: pd.DataFrame) -> np.ndarray:
    """Canal, arm and mechanism of each member; a variant with few episodes counts as its canal."""
    canal = pd.Series(classify_canals(members), index=members.index)
    variant = canal.str.cat([members["arm"], members["mechanism"]], sep=BETWEEN)
    size = variant.map(variant.value_counts())
    return variant.where(size >= LEAST_OWN, canal).to_numpy(str)


def classify_days(
    variants: np.ndarray, sessions: pd.DataFrame, horizon: int, least: int | None
) -> Classes:
    """The classes of rates for these variants; jumps by the first session and later ones, or, where
    there are at least `least` such sessions, by family and what came before it; those that act on
    several days always apart."""
    names, number = np.unique(variants, return_inverse=True)
    band = np.searchsorted(BANDS, np.arange(1, horizon + 1), side="right") - 1
    classes = pd.DataFrame(
        {
            "variant": variants[sessions["row"]],
            "kind": np.where(sessions["kind"].eq(FIRST), FIRST, LATER),
            "family": ANY_FAMILY,
            "days": sessions["acts_days"].array,
        }
    )
    if least is not None:
        fine = classes.assign(kind=sessions["kind"].array, family=sessions["family"].array)
        size = fine.groupby([*classes.columns])["kind"].transform("size")
        classes = fine.where(size >= least, classes)
    code, jumps = pd.factorize(pd.MultiIndex.from_frame(classes), sort=True)
    jump = np.zeros((len(variants), horizon), int)
    row, day, session = _spread(sessions, horizon)
    jump[row, day] = 1 + code[session]  # column k is day k + 1, on which a session of day k acts
    return Classes(
        number[:, None] * len(BANDS) + band,
        jump,
        tuple(names),
        tuple(Jump(*values) for values in jumps),
    )


def _spread(sessions: pd.DataFrame, horizon: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Row, day before and number of the session, for each day on which one acts: until the next
    session, or the horizon."""
    following = sessions.groupby("row")["day"].shift(-1).fillna(horizon).astype(int)
    acts = np.minimum(sessions["acts_days"], following - sessions["day"]).to_numpy()
    session = np.repeat(np.arange(len(sessions)), acts)
    offset = np.arange(len(session)) - np.repeat(np.cumsum(acts) - acts, acts)
    of_session = sessions[["row", "day"]].to_numpy(int)[session]
    return of_session[:, 0], of_session[:, 1] + offset, session


def find_parents(classes: Classes, wide: Classes) -> tuple[np.ndarray, np.ndarray]:
    """Of each natural rate and each jump of `classes` the number of that of its canal in `wide`."""
    canal = [wide.variants.index(_find_canal(variant)) for variant in classes.variants]
    natural = np.add.outer(np.array(canal) * len(BANDS), np.arange(len(BANDS))).ravel()
    kinds = {(jump.variant, jump.kind, jump.days): k for k, jump in enumerate(wide.jumps, start=1)}
    jumps = [
        kinds[_find_canal(jump.variant), FIRST if jump.kind == FIRST else LATER, jump.days]
        for jump in classes.jumps
    ]
    return natural, np.array([0, *jumps])


def count_sizes(classes: Classes, days: Days, groups: int = 1) -> Sizes:
    """How many rates there are."""
    n_natural = len(classes.variants) * len(BANDS)
    return Sizes(n_natural, 1 + len(classes.jumps), days.n_habits, groups)


def _find_canal(variant: str) -> str:
    """The canal of a variant as classify_variants names it."""
    return variant.split(BETWEEN)[0]
