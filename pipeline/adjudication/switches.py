"""A canal switch: debris that moved into another canal of the same ear.

Failure reasons and competing events both take it from here.

A switch is seen on the first day on which either holds, counted until another cause was found:
- the tests of a day after the first maneuver, read by themselves, allow none of the places (canal
  and ear) that the tests before treatment allow, but another canal of the same ear, and the tests
  of each such canal had been done before treatment, so that it was silent then. A canal that had
  not been tested may have been affected all along. Debris cannot cross from ear to ear, and several
  canals on one day tell of no move.
- the site recorded a canal switch with an attempt of that day.
Down-beating nystagmus right after a maneuver tells of no switch: it is common after a successful
one, and passes (22 of 57, Oh EH et al. J Clin Neurol 2019;15:143-148). A test on a later day of
treatment that names no attempt came before the maneuver, as is usual.
"""

import numpy as np
import pandas as pd

from pipeline.adjudication.days import keep_until_reclassified, read_each_day
from pipeline.adjudication.readings import join_sorted
from schemas.adverse import EVENTS, were_recorded
from schemas.columns import Frame
from schemas.criteria import Criteria
from schemas.delivery import Examinations, Treatments
from schemas.derived import Adjudications, Findings
from schemas.keys import EPISODE

DOWNBEAT = "anterior_or_posterior"
DAY = [*EPISODE, "day"]


def find_switches(
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    adjudications: Frame[Adjudications],
    criteria: Criteria,
) -> pd.DataFrame:
    """Find the switch of each adjudicated episode that has one.

    Parameters
    ----------
    examinations, findings
        Tests and what they show, row by row.
    treatments
        What was given, with switches that the site recorded.
    adjudications
        Verdicts of the episodes to look at.
    criteria
        Criteria of variants.

    Returns
    -------
    pd.DataFrame
        By site and episode_id, in days from day 0: the first day on which tests show it
        (shown_day), that on which an attempt records it (recorded_day), and the earlier of both
        (switched_day).
    """
    ours = _are_among(findings, adjudications)
    before = findings["before_treatment"].to_numpy(bool)
    tested = join_sorted(findings[ours & before], "test")
    later = ours & ~before
    later[later] = findings[later].groupby(DAY)["positive"].transform("any")  # others point nowhere
    days = read_each_day(examinations[later], findings[later], criteria)
    later_days = days.rename(columns={"variants": "variants_now"})[
        [*EPISODE, "day", "canal", "variants_now"]
    ]
    fresh = _list_days_seen_after_maneuvers(examinations[later], treatments)
    later_days = later_days[
        ~(later_days["canal"].eq(DOWNBEAT) & _are_among(later_days, fresh, DAY))
    ]
    later_days = later_days.merge(adjudications[[*EPISODE, "variants"]], on=EPISODE).join(
        tested.rename("tested"), on=EPISODE
    )
    key = ["variants", "variants_now", "tested"]
    later_days = later_days.fillna({"tested": "", "variants": ""})
    # days repeat one another: each comparison is made once
    questions = later_days[key].drop_duplicates()
    answers = questions.assign(
        moved=[is_switch(first, now, by, criteria) for first, now, by in questions.to_numpy()]
    )
    moved = later_days.merge(answers.astype({"moved": bool}), on=key, validate="many_to_one").query(
        "moved"
    )
    recorded = treatments[
        were_recorded(treatments["adverse"], EVENTS["switch"].codes)
        & _are_among(treatments, adjudications)
    ]
    days = [moved[DAY].assign(by="shown_day"), recorded[DAY].assign(by="recorded_day")]
    seen = pd.concat(days, ignore_index=True).astype({"day": "Int64"})
    seen = keep_until_reclassified(seen[seen["day"].ge(0).fillna(False)], adjudications)
    first = seen.groupby([*EPISODE, "by"])["day"].min().unstack("by")
    first = (
        first.reindex(columns=["shown_day", "recorded_day"])
        .astype("Int64")
        .rename_axis(columns=None)
    )
    return first.assign(switched_day=first.min(axis=1))


def is_switch(first: str, now: str, tested: str, criteria: Criteria) -> bool:
    """Whether the variants that a later day allows (`now`) tell of a move away from the `first`
    ones; `tested` are the tests before."""
    return moves_on(first, now) and were_tested(
        {place[0] for place in list_places(now)}, tested, criteria
    )


def moves_on(first: str, now: str) -> bool:
    """Whether another canal of the same ear has taken the place of the first one.

    So torsional down-beating nystagmus after a right posterior canal is a new place: the right
    anterior canal, or the left posterior one. An ear that is not known could be either.

    Parameters
    ----------
    first, now
        Variants that the first and the later tests allow.

    Returns
    -------
    bool
        True if those of `now` share no place (canal and ear) with the `first` ones, but name
        another canal of the same ear.
    """
    then, later = list_places(first), list_places(now)
    if not then or not later or any(canal == "unknown" for canal, _ in [*then, *later]):
        return False
    pairs = [
        (old, new)
        for old, ear in then
        for new, ear_now in later
        if "unknown" in (ear, ear_now) or ear == ear_now
    ]
    return bool(pairs) and all(old != new for old, new in pairs)


def list_places(variants: str) -> list[tuple[str, str]]:
    """Canal and ear of each of the variants."""
    parts = [variant.split("/") for variant in variants.split()]
    return [(canal, ear) for canal, ear, *_ in parts]


def were_tested(canals: set[str], tested: str, criteria: Criteria) -> bool:
    """Whether a test of each of the canals is among the tests `tested`."""
    tests: dict[str, set[str]] = {c: set(names) for c, names in criteria.tests_of_canal.items()}
    return all(tests[canal] & set(tested.split()) for canal in canals - {"unknown"})


def _list_days_seen_after_maneuvers(
    examined: pd.DataFrame, treatments: pd.DataFrame
) -> pd.DataFrame:
    """The days of tests that name an attempt of that day as before them,
    and the day of the first maneuver."""
    first = treatments.groupby(EPISODE)["day"].min().reset_index()
    given = treatments[[*DAY, "attempt"]].rename(columns={"attempt": "after_attempt"})
    named = examined.loc[examined["after_attempt"].notna(), [*DAY, "after_attempt"]].merge(given)
    return pd.concat([named[DAY], first[DAY]])


def _are_among(rows: pd.DataFrame, others: pd.DataFrame, key: list[str] = EPISODE) -> np.ndarray:
    """Whether each row's episode (or another key) has a row among the others."""
    return pd.MultiIndex.from_frame(rows[key]).isin(pd.MultiIndex.from_frame(others[key]))
