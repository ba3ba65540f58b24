"""Rules across rows and tables: keys, children of episodes, the order of attempts, maneuvers.

Wrong cells are missing here and blame nothing.
"""

from collections.abc import Iterable, Mapping

import pandas as pd

from pipeline.intake.meant import find_meanings
from pipeline.intake.own_words import offer_words
from pipeline.intake.problem import Problem
from schemas.columns import Table
from schemas.maneuver import Maneuver, make_maneuver_vocabulary


def find_repeats(table: str, model: type[Table], rows: pd.DataFrame) -> list[Problem]:
    """All rows that share their key with another row."""
    keys = rows[model.key()].dropna()
    return [
        Problem("same_key_twice", table, row, ", ".join(model.key()))
        for row in keys.index[keys.duplicated(keep=False)]
    ]


def find_orphans(
    table: str, rows: pd.DataFrame, episodes: pd.DataFrame, set_aside: Iterable[int]
) -> list[Problem]:
    """Find rows whose episode was not handed in, or is set aside.

    Parameters
    ----------
    table, rows
        Name and rows of a table.
    episodes
        Rows of the episodes table.
    set_aside
        Row numbers of the episodes table that are set aside.
    """
    lost = ~rows["episode_id"].isin(episodes["episode_id"]) & rows["episode_id"].notna()
    gone = rows["episode_id"].isin(episodes.loc[sorted(set_aside), "episode_id"].dropna())
    return [
        Problem(rule, table, row, "episode_id")
        for rule, named in (("episode_not_found", lost), ("episode_set_aside", gone))
        for row in rows.index[named]
    ]


def find_broken_sequences(treatments: pd.DataFrame, episodes: pd.DataFrame) -> list[Problem]:
    """Attempts from the first gap in the numbering on, and those on an earlier day than an attempt
    before them.

    A row whose episode was not handed in is left out: it is blamed for that already.
    """
    known = treatments["episode_id"].isin(episodes["episode_id"].dropna())
    attempts = treatments.loc[known, ["episode_id", "attempt", "day"]].dropna(subset="attempt")
    attempts = attempts.sort_values(["episode_id", "attempt"], kind="stable")
    numbers = attempts.drop_duplicates(["episode_id", "attempt"])
    place = numbers.groupby("episode_id").cumcount() + 1
    gaps = pd.MultiIndex.from_frame(
        numbers.loc[numbers["attempt"] != place, ["episode_id", "attempt"]]
    )
    after_gap = pd.MultiIndex.from_frame(attempts[["episode_id", "attempt"]]).isin(gaps)
    dated = attempts.dropna(subset="day")
    early = dated["day"] < dated.groupby("episode_id")["day"].cummax()
    return [
        Problem("attempts_have_a_gap", "treatments", row, "attempt")
        for row in attempts.index[after_gap]
    ] + [Problem("attempts_out_of_order", "treatments", row, "day") for row in dated.index[early]]


def find_unknown_maneuvers(texts: pd.Series, maneuvers: Mapping[str, Maneuver]) -> list[Problem]:
    """Maneuvers that are not in the list, from the cells as handed in,
    each with the code that was probably meant."""
    given = texts.dropna()
    unknown = given[~given.str.lower().isin(list(maneuvers))]
    meant = find_meanings(unknown.unique(), make_maneuver_vocabulary(maneuvers))
    return [
        Problem("maneuver_unknown", "treatments", row, "maneuver", closest=meant.get(text, ""))
        for row, text in unknown.items()
    ] + offer_words("treatments", "maneuver", unknown, meant)


def find_unsided_maneuvers(
    treatments: pd.DataFrame, maneuvers: Mapping[str, Maneuver]
) -> list[Problem]:
    """Maneuvers for one ear whose record names none, or both."""
    sided = treatments["maneuver"].isin(
        [code for code, maneuver in maneuvers.items() if maneuver.treats == "one_ear"]
    )
    named = treatments["side"].isin(["right", "left"]) | treatments["side"].isna()
    return [
        Problem("maneuver_side", "treatments", row, "side")
        for row in treatments.index[sided & ~named]
    ]


def find_differing_patients(episodes: pd.DataFrame) -> list[Problem]:
    """Episodes of one patient that differ in sex; `unknown` differs from nothing."""
    known = episodes[episodes["sex"].ne("unknown").fillna(False)].dropna(
        subset=["patient_id", "sex"]
    )
    differ = known.groupby("patient_id")["sex"].transform("nunique") > 1
    return [Problem("patient_differs", "episodes", row, "sex") for row in known.index[differ]]


def find_differing_reasons(examinations: pd.DataFrame) -> list[Problem]:
    """Rows of one episode and day whose reasons contradict each other; `unknown` contradicts
    nothing."""
    with_reason = examinations.dropna(subset=["episode_id", "day", "reason"])
    known = with_reason[with_reason["reason"].ne("unknown")]
    differ = known.groupby(["episode_id", "day"])["reason"].transform("nunique") > 1
    return [Problem("reasons_differ", "examinations", row, "reason") for row in known.index[differ]]


def find_years_outside(
    episodes: pd.DataFrame, first: int | None, last: int | None
) -> list[Problem]:
    """Episodes whose year is not among those that the submission table names;
    none where it names no years."""
    if first is None or last is None:
        return []
    outside = ~episodes["index_year"].between(first, last).fillna(True)
    return [
        Problem("year_outside_submission", "episodes", row, "index_year")
        for row in episodes.index[outside]
    ]
