"""Tables without rows, and a delivery against the one before: what was left out,
and columns that changed in many episodes at once."""

from collections.abc import Iterator, Mapping

import pandas as pd

from pipeline.intake.changes import list_episodes
from pipeline.intake.problem import Problem
from pipeline.intake.suspicion import Enough, suspect

Rows = Mapping[str, pd.DataFrame]
# a delivery is complete each time; that a patient withdraws is rare (common practice)
LEFT_OUT = Enough(5, 0.2)
CHANGED = Enough(5, 0.3)  # corrections concern single rows
SETTLED = (
    "patient_id",
    "age_years",
    "sex",
    "index_year",
    "recorded_canal",
    "recorded_side",
    "recorded_mechanism",
)


def find_empty_tables(rows: Rows) -> list[Problem]:
    """Tables that hold their header and no row; where none holds a row, this is told once."""
    empty = [name for name, table in rows.items() if table.empty]
    if len(empty) == len(rows):
        return [Problem("table_without_rows", None, None, None, "This is so in all four tables.")]
    return [Problem("table_without_rows", name) for name in empty]


def compare_with_previous(rows: Rows, previous: Rows, number: str) -> Iterator[Problem]:
    """What a delivery leaves out of the one before, of that `number`,
    or changes in many of its episodes; `previous` are its tables."""
    earlier = pd.Series(sorted(list_episodes(dict(previous))), dtype=object)
    gone = ~earlier.isin(rows["episodes"]["episode_id"])
    yield from suspect(
        "earlier_left_out", "episodes", None, gone, f"episodes of delivery {number}", LEFT_OUT
    )
    both = sorted(set(earlier[~gone]) & set(previous["episodes"]["episode_id"]))
    for table in ("examinations", "treatments", "followups"):
        before, now = (
            tables[table]["episode_id"].value_counts().reindex(both) for tables in (previous, rows)
        )
        fewer = now.fillna(0) < before.fillna(0)
        yield from suspect(
            "earlier_left_out",
            table,
            None,
            fewer,
            f"episodes that delivery {number} has as well",
            LEFT_OUT,
        )
    then, now = (
        tables["episodes"].drop_duplicates("episode_id").set_index("episode_id").reindex(both)
        for tables in (previous, rows)
    )
    for column in SETTLED:
        differ = then[column].ne(now[column])[then[column].notna() & now[column].notna()]
        yield from suspect(
            "earlier_changed",
            "episodes",
            column,
            differ,
            f"episodes that delivery {number} has as well",
            CHANGED,
        )
