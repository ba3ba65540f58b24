"""Whether a whole delivery can be meant so: slips that no single row shows, each with its evidence in numbers of rows. None sets a row aside."""

from collections.abc import Mapping

import pandas as pd

from pipeline.intake.plausible_columns import find_unlikely_columns
from pipeline.intake.plausible_patients import find_unlikely_patients
from pipeline.intake.plausible_sides import find_unlikely_sides
from pipeline.intake.plausible_tables import compare_with_previous, find_empty_tables
from pipeline.intake.plausible_times import find_unlikely_times
from pipeline.intake.problem import Problem

Rows = Mapping[str, pd.DataFrame]


def find_implausible(rows: Rows, previous: Rows | None = None, number: str = "") -> list[Problem]:
    """All signs that something slipped in a delivery as a whole.

    `rows` are the handed-in rows by table, typed, wrong cells missing; `previous` are the tables of the last accepted delivery, and `number`
    is what it is called.
    """
    found = find_empty_tables(rows)
    for find in (find_unlikely_times, find_unlikely_sides, find_unlikely_patients, find_unlikely_columns):
        found += find(rows)
    if {("sorted_alone", "age_years"), ("filled_down", "age_years")} & {(p.rule, p.column) for p in found}:
        found = [p for p in found if p.rule != "ages_differ"]  # which only follows from it
    return found + list(compare_with_previous(rows, previous, number) if previous else ())
