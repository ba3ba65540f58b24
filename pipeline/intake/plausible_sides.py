"""Sides exchanged in a whole delivery: what the tests show,
what was recorded and what was treated belong to the same ear nearly always."""

from collections.abc import Iterator, Mapping

import pandas as pd

from pipeline.intake.problem import Problem
from pipeline.intake.suspicion import MOST, suspect

Rows = Mapping[str, pd.DataFrame]
SIDES = ("right", "left")
# with the affected ear down they show it
TESTS = ("dix_hallpike", "side_lying", "half_dix_hallpike")


def find_unlikely_sides(rows: Rows) -> Iterator[Problem]:
    """Sides of tests, of torsion and of the working diagnosis that are opposite to those they
    belong to in most episodes or rows."""
    tests, first = rows["examinations"], rows["treatments"]
    first = first[first["attempt"].eq(1).fillna(False) & first["side"].isin(SIDES)]
    treated = first.drop_duplicates("episode_id").set_index("episode_id")["side"]
    up = tests[
        tests["test"].isin(TESTS)
        & tests["side"].isin(SIDES)
        & tests["vertical"].eq("up").fillna(False)
    ]
    before = up[up["day"].le(0).fillna(False) & up["after_attempt"].fillna(0).eq(0)]
    sides = before.groupby("episode_id")["side"].agg(["nunique", "first"])
    shown = sides.loc[sides["nunique"].eq(1), "first"]
    yield from _compare(
        "side", shown, treated, "treated episodes with up-beating nystagmus on one side"
    )
    recorded = (
        rows["episodes"].drop_duplicates("episode_id").set_index("episode_id")["recorded_side"]
    )
    yield from _compare(
        "recorded_side",
        recorded[recorded.isin(SIDES)],
        treated,
        "treated episodes with a recorded side",
    )
    torsional = up[up["torsion"].isin(SIDES)]
    away = torsional["torsion"].ne(torsional["side"])
    yield from suspect(
        "sides_opposite", "examinations", "torsion", away, "up-beating tests with torsion", MOST
    )


def _compare(column: str, sides: pd.Series, treated: pd.Series, things: str) -> list[Problem]:
    both = pd.concat({"one": sides, "treated": treated}, axis=1, join="inner").dropna()
    table = "episodes" if column == "recorded_side" else "examinations"
    return suspect("sides_opposite", table, column, both["one"].ne(both["treated"]), things, MOST)
