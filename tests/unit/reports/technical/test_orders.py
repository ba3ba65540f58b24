"""Both ways of comparing orders: side by side, and said where they disagree."""

import pytest

from pipeline.reports.technical.orders import G_FORMULA, WEIGHTED, view_both_ways
from pipeline.statistics.tidy import state, tidy_estimates, withhold

TERM = "difference_resolved_by_day_30"
STRATUM = "variant=posterior_long_arm,strategy=epley > semont"


def show(plan, first: dict, second: dict) -> list[dict]:
    shared = {"population": "positional", "endpoint": "objective", "method": "m"}
    rows = [
        tidy_estimates([row], analysis=analysis, **shared)
        for analysis, row in ((G_FORMULA, first), (WEIGHTED, second))
    ]
    return view_both_ways(*rows, plan)


def tell(number: float) -> dict:
    return state(TERM, number, lower=number - 0.1, upper=number + 0.1, stratum=STRATUM)


@pytest.mark.parametrize(("second", "word"), [(0.1, "within their errors"), (0.3, "disagree")])
def test_both_ways_stand_side_by_side(plan, second, word):
    (table,) = show(plan, tell(0.05), tell(second))
    (row,) = table["groups"][0]["rows"]
    shown = dict(zip(table["columns"], row["cells"], strict=True))
    numbers = [shown[name].partition(" ")[0] for name in ("By the g-formula", "By weights")]
    assert [float(number) for number in numbers] == [0.05, second]
    assert shown["Together"] == word


def test_an_order_with_one_number_says_why_the_other_is_missing(plan):
    few = withhold(TERM, "too_few", "fewer than 11 episodes", stratum=STRATUM)
    (table,) = show(plan, tell(0.05), few)
    (row,) = table["groups"][0]["rows"]
    assert row["cells"][1:] == ["too few", ""]
    assert "fewer than 11 episodes" in row["status"]
    assert show(plan, few, few) == []
