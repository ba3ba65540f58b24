"""Whether a whole delivery can be meant so: slips that no single row shows,
each with its evidence in numbers of rows. None sets a row aside."""

from collections.abc import Mapping

import pandas as pd

from pipeline.intake.plausible_codes import find_codes
from pipeline.intake.plausible_columns import find_unlikely_columns
from pipeline.intake.plausible_patients import find_unlikely_patients
from pipeline.intake.plausible_sides import find_unlikely_sides
from pipeline.intake.plausible_tables import compare_with_previous, find_empty_tables
from pipeline.intake.plausible_times import find_unlikely_times
from pipeline.intake.problem import Problem

Rows = Mapping[str, pd.DataFrame]
SUREST_FIRST = (
    "filled_down",
    "sorted_alone",
    "unit_unlikely",
    "latency_above_duration",
    "zero_for_empty",
    "code_for_missing",
    "table_without_rows",
    "earlier_changed",
    "ages_differ",
    "earlier_left_out",
)
ALL_TABLES = (None, None)
COMPARED = {  # columns that a rule looks at, where it is more than the one it names
    "latency_above_duration": ("latency_s", "duration_s"),
}


def find_implausible(rows: Rows, previous: Rows | None = None, number: str = "") -> list[Problem]:
    """Find all signs that something slipped in a delivery as a whole.

    Parameters
    ----------
    rows
        The handed-in rows by table, typed, wrong cells missing.
    previous
        The tables of the last accepted delivery.
    number
        What that one is called.
    """
    problems = find_empty_tables(rows)
    for find in (
        find_unlikely_times,
        find_unlikely_sides,
        find_unlikely_patients,
        find_unlikely_columns,
        find_codes,
    ):
        problems += find(rows)
    problems += compare_with_previous(rows, previous, number) if previous else ()
    return drop_following(problems)


def drop_following(problems: list[Problem]) -> list[Problem]:
    """The signs without those that only follow from a surer one of the same column,
    or of what a rule compares it with; an empty table leaves all of the one before out."""
    ranks: dict[tuple, list[int]] = {}
    for problem in problems:
        for place in list_columns(problem) if problem.rule in SUREST_FIRST else ():
            ranks.setdefault(place, []).append(SUREST_FIRST.index(problem.rule))
    kept = []
    for problem in problems:
        rank = SUREST_FIRST.index(problem.rule) if problem.rule in SUREST_FIRST else 0
        surer = any(
            other < rank
            for place in (*list_columns(problem), ALL_TABLES)
            for other in ranks.get(place, ())
        )
        if not surer:
            kept.append(problem)
    return kept


def list_columns(problem: Problem) -> list[tuple]:
    """The columns, each by table and name, that a sign is seen in."""
    return [(problem.table, column) for column in COMPARED.get(problem.rule, (problem.column,))]
