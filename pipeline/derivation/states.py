"""Days on which an episode is known to be unresolved, or resolved:
the raw material of every interval."""

import numpy as np
import pandas as pd

from pipeline.adjudication.days import keep_until_reclassified
from pipeline.adjudication.maneuvers import HEAD_AT_REST
from schemas.codes import SHORT_ARMS
from schemas.columns import Frame
from schemas.criteria import Criteria
from schemas.delivery import Examinations, Treatments
from schemas.derived import Adjudications, Findings
from schemas.keys import EPISODE
from schemas.maneuver import Maneuver

TEST_KEY = [*EPISODE, "test", "side"]
DAY_KEY = [*EPISODE, "day"]
STRENGTH = ["vertigo", "duration_s", "peak_spv"]  # what tells how strong a response was


def select_deciding_tests(
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    adjudications: Frame[Adjudications],
    criteria: Criteria,
) -> pd.DataFrame:
    """Select the tests that can decide on resolution: those of the affected canal.

    Where the canal is not known, the tests of every canal count; where it is one of two, the tests
    of both. A case that was reclassified stays at risk until that day: tests from then on decide
    nothing.

    Parameters
    ----------
    examinations, findings
        Tests and what they show, row by row.
    adjudications
        The canal of each episode.
    criteria
        Which tests are of which canal, and which stand for one another.

    Returns
    -------
    pd.DataFrame
        One row for each test: site, episode_id, day, examination, after_attempt, test (tests that
        stand for one another share a name), side, horizontal, the columns STRENGTH, positive,
        nystagmus, canal, arm.
    """
    tests = examinations[
        [*DAY_KEY, "examination", "after_attempt", "test", "side", "horizontal", *STRENGTH]
    ].assign(
        positive=findings["positive"].to_numpy(bool), nystagmus=findings["nystagmus"].to_numpy(bool)
    )
    tests = keep_until_reclassified(tests, adjudications)
    tests = tests.merge(
        adjudications[[*EPISODE, "canal", "arm"]], on=EPISODE, how="left", validate="many_to_one"
    )
    of_canal: dict[str, set[str]] = {
        canal: set(names) for canal, names in criteria.tests_of_canal.items()
    }
    of_canal["anterior_or_posterior"] = of_canal["anterior"] | of_canal["posterior"]
    of_canal["multiple"] = of_canal["unknown"] = set().union(*of_canal.values())
    deciding = pd.Series(False, index=tests.index)
    for canal, names in of_canal.items():
        deciding |= tests["canal"].eq(canal) & tests["test"].isin(names)
    deciding |= tests["arm"].isin(SHORT_ARMS) & tests["test"].isin(criteria.tests_of_short_arm)
    return tests[deciding].assign(test=tests["test"].replace(criteria.same_test))


def select_every_test(
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    adjudications: Frame[Adjudications],
    criteria: Criteria,
) -> pd.DataFrame:
    """Select the tests of every canal, whichever is affected; else as `select_deciding_tests`."""
    return select_deciding_tests(
        examinations, findings, adjudications.assign(canal="unknown"), criteria
    )


def mark_confirming(
    tests: pd.DataFrame,
    treatments: Frame[Treatments],
    maneuvers: dict[str, Maneuver],
    confirmation_day: int,
) -> pd.Series:
    """Mark tests that come long enough after the last maneuver before them to confirm resolution.

    A test on the day of a maneuver with an empty `after_attempt` counts as coming after it.
    Observation leaves the head at rest and asks for no wait.

    Parameters
    ----------
    tests
        Rows with site, episode_id, day and after_attempt.
    treatments
        What was given.
    maneuvers
        What each code of a maneuver is.
    confirmation_day
        Days after the maneuver from which a test confirms.

    Returns
    -------
    pd.Series
        bool by the index of `tests`.
    """
    active = treatments[
        ~treatments["maneuver"].map(lambda code: maneuvers[code].kind).isin(HEAD_AT_REST)
    ]
    earlier = _last_day_before(tests, active)
    same_day = active.groupby(DAY_KEY)["attempt"].min().rename("first_that_day")
    first_that_day = (
        tests[DAY_KEY].join(same_day, on=DAY_KEY)["first_that_day"].to_numpy(float, na_value=np.nan)
    )
    after = tests["after_attempt"].to_numpy(float, na_value=np.inf)
    day = tests["day"].to_numpy(float)
    last = np.where(
        ~np.isnan(first_that_day) & (after >= np.nan_to_num(first_that_day)), day, earlier
    )
    return pd.Series(
        np.isnan(last) | (day - np.nan_to_num(last) >= confirmation_day), index=tests.index
    )


def _last_day_before(tests: pd.DataFrame, treatments: pd.DataFrame) -> np.ndarray:
    """The last treatment day before the day of each test; nan where there is none."""
    given = (
        treatments[DAY_KEY]
        .drop_duplicates()
        .sort_values("day")
        .assign(given_day=lambda rows: rows["day"])
    )
    ordered = tests[DAY_KEY].assign(order=np.arange(len(tests))).sort_values("day", kind="stable")
    matched = pd.merge_asof(ordered, given, on="day", by=EPISODE, allow_exact_matches=False)
    return matched.sort_values("order")["given_day"].to_numpy(float, na_value=np.nan)


def find_states(tests: pd.DataFrame) -> pd.DataFrame:
    """Find the days on which an episode is known to be unresolved, or resolved.

    A day is positive if any deciding test is. It is negative if every test that had been positive
    on an earlier day is done, confirming and negative; a day that repeats only some of them decides
    nothing.

    Parameters
    ----------
    tests
        Deciding tests with positive and confirming.

    Returns
    -------
    pd.DataFrame
        One row for each episode and day that decides: site, episode_id, day, state (`positive` or
        `negative`).
    """
    first = (
        tests[tests["positive"]]
        .groupby(TEST_KEY)["day"]
        .min()
        .rename("first_positive")
        .reset_index()
    )
    days = tests[DAY_KEY].drop_duplicates()
    due = days.merge(first, on=EPISODE)
    due = due[due["first_positive"] < due["day"]]
    shown = (
        tests[~tests["positive"] & tests["confirming"]][[*DAY_KEY, "test", "side"]]
        .drop_duplicates()
        .assign(shown=True)
    )
    due = due.merge(shown, on=[*DAY_KEY, "test", "side"], how="left")
    all_shown = due.assign(shown=due["shown"].notna()).groupby(DAY_KEY)["shown"].all()
    any_positive = tests.groupby(DAY_KEY)["positive"].any().rename("any_positive")
    states = days.join(any_positive, on=DAY_KEY).join(all_shown, on=DAY_KEY)
    states["state"] = np.select(
        [states["any_positive"], states["shown"].eq(True)], ["positive", "negative"], "open"
    )
    return states.loc[states["state"].ne("open"), [*DAY_KEY, "state"]].sort_values(
        DAY_KEY, ignore_index=True
    )
