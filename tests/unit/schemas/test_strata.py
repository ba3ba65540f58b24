"""Strata and comparisons are made of what is declared."""

import pytest

from schemas.strata import (
    GREATEST,
    LEAST,
    SMALLER_CELLS,
    UnknownStratum,
    check_comparison,
    check_stratum,
)


@pytest.mark.parametrize(
    "stratum",
    [
        "all",
        "canal=posterior",
        "canal=posterior,mechanism=cupulolithiasis",
        f"canal=lateral,{LEAST}",
        f"canal=lateral,{GREATEST}",
        f"{SMALLER_CELLS}canal x arm",
    ],
)
def test_what_is_declared_is_a_stratum(stratum):
    check_stratum(stratum)


@pytest.mark.parametrize(
    ("stratum", "unknown"),
    [
        ("moon=full", "moon=full"),
        ("canal=fourth", "canal=fourth"),
        ("canal", "canal"),
        ("canal=posterior,moon=full", "moon=full"),
        (f"{SMALLER_CELLS}canal x moon", "moon"),
    ],
)
def test_anything_else_is_named(stratum, unknown):
    with pytest.raises(UnknownStratum, match=f"declares no '{unknown}'"):
        check_stratum(stratum)


def test_a_comparison_is_with_a_part_of_the_pool_or_a_declared_one():
    check_comparison("sex=female")
    check_comparison("repeat")
    for other in ("moon=full", "female", "sex=female,moon=full"):
        with pytest.raises(UnknownStratum, match="no comparison"):
            check_comparison(other)
