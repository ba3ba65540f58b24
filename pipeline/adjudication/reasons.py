"""What set an episode apart, or speaks against positional vertigo at least, each with the day from
which it was on record."""

import pandas as pd

from pipeline.adjudication.flags import complete_answers, find_other_causes, raise_flags
from pipeline.adjudication.rolls import pair_rolls
from schemas.columns import Frame
from schemas.criteria import Criteria
from schemas.delivery import Episodes, Examinations, Treatments
from schemas.derived import Findings, ReasonsAgainst
from schemas.keys import EPISODE

UNNAMED = ("none", "unknown")  # other_diagnosis that is none


def join_findings(examinations: Frame[Examinations], findings: Frame[Findings]) -> pd.DataFrame:
    """Examinations with what they show, row by row."""
    return examinations.assign(
        **{c: findings[c] for c in findings.columns.difference(examinations.columns)}
    )


def list_reasons(
    episodes: Frame[Episodes],
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    criteria: Criteria,
) -> Frame[ReasonsAgainst]:
    """List what speaks for another cause by what was known when the first attempt was given.

    A sign of the tests is on record from the day on which the tests up to then first show it, if
    all tests before treatment still show it. Answers, and a working diagnosis without a canal, have
    no day of their own: they are taken as of the first test (find_first_day). Another diagnosis of
    the site has its day, and is no reason if it was made after the first attempt.

    Parameters
    ----------
    episodes, examinations, treatments
        The delivered tables.
    findings
        What each examination shows, row by row.
    criteria
        Flags and other causes.

    Returns
    -------
    Frame[ReasonsAgainst]
        One row for each episode and reason; of an episode flags come first, then other causes, and
        what the site itself recorded.
    """
    examined = join_findings(examinations, findings)
    before = examined[examined["before_treatment"]]
    days = find_first_day(episodes, before)
    parts = [
        _date_signs(episodes, before, days, criteria),
        _date_diagnoses(episodes, treatments),
        _date_missing_canals(episodes, days),
    ]
    typed = [part.astype({"reason": "string", "known_day": "Int64"}) for part in parts]
    ordered = pd.concat(typed).sort_values([*EPISODE, "place", "reason"], ignore_index=True)
    return ReasonsAgainst.cast(ordered)


def find_first_day(episodes: Frame[Episodes], before: pd.DataFrame) -> pd.Series:
    """The day of the first test before treatment, and day 0 where there was none.

    Parameters
    ----------
    episodes
        The episodes.
    before
        Their tests before treatment.

    Returns
    -------
    pd.Series
        Days by the index of `episodes`.
    """
    first = before.groupby(EPISODE)["day"].min().rename("first_day")
    return episodes[EPISODE].join(first, on=EPISODE)["first_day"].astype("Int64").fillna(0)


def date_recognition(
    episodes: Frame[Episodes], first_day: pd.Series, ended_day: pd.Series
) -> pd.Series:
    """Date when the site itself first held an episode for something else.

    Parameters
    ----------
    episodes
        The episodes.
    first_day
        That of their first test, by find_first_day.
    ended_day
        On which follow-up ended because it was no longer thought to be positional vertigo; missing
        where it did not. By the same index.

    Returns
    -------
    pd.Series
        The first of these days, of that of another diagnosis, and, where the working diagnosis
        names no canal, of the first test; missing if the site never did.
    """
    named = episodes["other_diagnosis_day"].where(is_named(episodes))
    unnamed = first_day.where(episodes["recorded_canal"].eq("none"))
    return pd.concat([named, unnamed, ended_day], axis=1).min(axis=1).astype("Int64")


def find_later_diagnoses(episodes: pd.DataFrame, treatments: pd.DataFrame) -> pd.Series:
    """True for episodes of which the site made another diagnosis after the first attempt."""
    first = treatments.groupby(EPISODE)["day"].min().rename("first_attempt_day")
    given = episodes[EPISODE].join(first, on=EPISODE)["first_attempt_day"]
    return (is_named(episodes) & (episodes["other_diagnosis_day"] > given)).fillna(False)


def is_named(episodes: pd.DataFrame) -> pd.Series:
    """True for episodes of which the site made another diagnosis, whenever."""
    return ~episodes["other_diagnosis"].isin(UNNAMED)


def _date_signs(
    episodes: pd.DataFrame, before: pd.DataFrame, first_day: pd.Series, criteria: Criteria
) -> pd.DataFrame:
    """Flags and other causes.

    What was on record up to each day of testing is judged as an episode of its own, so that a sign
    means the same on every day; those of the last day are the reasons.
    """
    tested = before[[*EPISODE, "day"]].drop_duplicates()
    untested = episodes[EPISODE].assign(day=first_day)
    days = pd.concat([untested, tested]).drop_duplicates().rename(columns={"day": "known_day"})
    days["so_far"] = days["episode_id"] + "@" + days["known_day"].astype("string")

    def rename(rows: pd.DataFrame) -> pd.DataFrame:
        return rows.assign(episode_id=rows["so_far"]).reset_index(drop=True)

    views = rename(complete_answers(episodes).merge(days, on=EPISODE))
    known = before.merge(days, on=EPISODE)
    known = rename(known[known["day"].le(known["known_day"])])
    pairs = pair_rolls(known, across_days=True)
    flags = raise_flags(views, known, pairs, criteria).rename(columns={"flag": "reason"})
    causes = find_other_causes(views, known, pairs, criteria).rename(columns={"cause": "reason"})
    signs = pd.concat([flags.assign(place=0), causes.assign(place=1)])
    signs = signs[["site", "episode_id", "place", "reason"]]
    dated = signs.rename(columns={"episode_id": "so_far"}).merge(days, on=["site", "so_far"])
    last = days.groupby(EPISODE)["known_day"].max().rename("last_day")
    key = [*EPISODE, "place", "reason"]
    since = dated.groupby(key)["known_day"].agg(["min", "max"]).reset_index().join(last, on=EPISODE)
    holding = since[since["max"].eq(since["last_day"])]
    return holding.rename(columns={"min": "known_day"})[[*key, "known_day"]]


def _date_diagnoses(episodes: pd.DataFrame, treatments: pd.DataFrame) -> pd.DataFrame:
    """Other diagnoses of the site that were not made after the first attempt."""
    made = episodes[is_named(episodes) & ~find_later_diagnoses(episodes, treatments)]
    return made[EPISODE].assign(
        reason="other_diagnosis=" + made["other_diagnosis"],
        known_day=made["other_diagnosis_day"],
        place=2,
    )


def _date_missing_canals(episodes: pd.DataFrame, first_day: pd.Series) -> pd.DataFrame:
    """Working diagnoses that name no canal."""
    unnamed = episodes["recorded_canal"].eq("none")
    return episodes.loc[unnamed, EPISODE].assign(
        reason="no_canal_recorded", known_day=first_day[unnamed], place=3
    )
