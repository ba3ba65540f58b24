"""What can speak for another cause only later: nystagmus that stays,
or vertigo that outlasts maneuvers which suit it.

A later flag asks to examine again. It never touches the verdict at the first attempt, and rests on
nothing that came after the day on which it is first known.
"""

import pandas as pd

from pipeline.adjudication.findings import find_incomplete
from pipeline.adjudication.patterns import find_pattern
from pipeline.adjudication.rolls import pair_rolls
from schemas.columns import Frame
from schemas.criteria import Criteria, LaterFlag
from schemas.delivery import Examinations
from schemas.derived import Attempts, Findings, LaterFlags, Spells
from schemas.keys import EPISODE

DAY = [*EPISODE, "day"]


def raise_later_flags(
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    attempts: Frame[Attempts],
    spells: Frame[Spells],
    criteria: Criteria,
) -> Frame[LaterFlags]:
    """One row for each episode and later flag that is raised (schemas.derived.LaterFlags),
    with the day on which it is first known.

    `findings` go with `examinations`, row by row. A record with a hole raises none: the test that
    was set aside could have been the negative one.
    """
    examined = examinations.assign(
        **{c: findings[c] for c in findings.columns.difference(examinations.columns)}
    )
    pairs = pair_rolls(examined)
    raised = [
        _raise_flag(_list_days(examined, pairs, attempts, flag), attempts, flag).assign(flag=name)
        for name, flag in criteria.later_flags.items()
    ]
    flags = LaterFlags.cast(pd.concat([LaterFlags.empty(), *raised])[list(LaterFlags.describe())])
    complete = ~pd.MultiIndex.from_frame(flags[EPISODE]).isin(find_incomplete(spells))
    return flags[complete].sort_values(LaterFlags.key(), ignore_index=True)


def find_runs(days: pd.DataFrame) -> pd.DataFrame:
    """Find since when every day that could tell has shown something; it looks ahead nowhere.

    Parameters
    ----------
    days
        site, episode_id, day and shown; a day with several rows shows it if any of them does.

    Returns
    -------
    pd.DataFrame
        One row for each episode and day on which it was shown, with since_day, the first day of its
        run.
    """
    by_day = days.groupby(DAY)["shown"].any().reset_index()
    breaks = (
        (~by_day["shown"]).groupby([by_day["site"], by_day["episode_id"]]).cumsum().rename("breaks")
    )
    shown = by_day.assign(breaks=breaks)[by_day["shown"]]
    since = shown.groupby([*EPISODE, "breaks"])["day"].transform("min")
    return shown[DAY].assign(since_day=since)


def count_fitting_sessions(
    runs: pd.DataFrame, attempts: Frame[Attempts], verified_by: tuple[str, ...]
) -> pd.Series:
    """Count the verified sessions of each run.

    Verified is a session that suits every variant that the first tests allow, reached all
    positions, and was carried out by one of `verified_by`. A test on the day of a session does not
    yet tell of it.

    Parameters
    ----------
    runs
        Rows by `find_runs`.
    attempts
        The derived table.
    verified_by
        Codes of performed_by.

    Returns
    -------
    pd.Series
        For each row of `runs`, by its index, the number from since_day on and before its day.
    """
    verified = attempts[
        attempts["fit"].eq("yes")
        & attempts["completed"].eq("yes")
        & attempts["performed_by"].isin(verified_by)
    ]
    given = runs.reset_index(names="row").merge(verified[DAY], on=EPISODE, suffixes=("", "_given"))
    counted = given[given["day_given"].ge(given["since_day"]) & given["day_given"].lt(given["day"])]
    return counted.groupby("row").size().reindex(runs.index, fill_value=0)


def _list_days(
    examined: pd.DataFrame, pairs: pd.DataFrame, attempts: pd.DataFrame, flag: LaterFlag
) -> pd.DataFrame:
    """The days that can tell, with shown: the pattern of the flag, or, where it has none,
    that the vertigo is not resolved."""
    if flag.pattern is None:
        decided = attempts[attempts["outcome"].ne("not_tested_again")]
        after = decided[DAY].assign(
            day=decided["day"] + decided["next_test_days"].astype("Int64"),
            shown=decided["outcome"].eq("positive"),
        )
        days = pd.concat([attempts[DAY].assign(shown=attempts["at_risk"]), after])
    else:
        candidates = pairs if flag.pattern.both_sides else examined
        tested = candidates[candidates["test"].isin(flag.pattern.tests)]
        days = tested[DAY].assign(shown=find_pattern(tested, flag.pattern, unmeasured=False))
    return days.astype({"day": "Int64", "shown": bool})


def _raise_flag(days: pd.DataFrame, attempts: pd.DataFrame, flag: LaterFlag) -> pd.DataFrame:
    """The first day of each episode on which the flag is known, with since_day and sessions;
    the row of a run that suffices."""
    runs = find_runs(days)
    runs = runs.assign(sessions=count_fitting_sessions(runs, attempts, flag.verified_by))
    met = runs["day"].sub(runs["since_day"]).ge(flag.days_least) & runs["sessions"].ge(
        flag.sessions_least
    )
    return runs[met].sort_values(DAY).drop_duplicates(EPISODE).rename(columns={"day": "known_day"})
