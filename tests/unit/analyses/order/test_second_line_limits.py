"""Limits of the second line where nearly all of an arm are resolved, or nobody:
a number stands there, and its limits hold."""

import numpy as np
import pytest

from pipeline.analyses.order.arms import measure_arms
from pipeline.analyses.order.second_line import estimate_second_line
from pipeline.statistics.scales import DIFFERENCE, check_range, limit_by_sites
from pipeline.statistics.two_shares import compare, mover_difference
from schemas.derived import Spells
from tests.unit.analyses.order.test_arms import measure, see
from tests.unit.analyses.order.test_second_line import draw, read

DAYS, HORIZON = (7,), 10


def test_limits_of_an_arm_that_is_all_resolved_tell_something_when_it_is_large(plan):
    site = np.repeat(list("abcdefgh"), 8)
    all_of_them, nobody = see(np.ones(64, bool), site), see(np.zeros(64, bool), site)
    measures = measure(nobody, all_of_them)
    for term in ("risk_repeat_day_7", "risk_change_day_7"):
        assert measures[term][3] - measures[term][2] < 0.1
    value, error, low, high, p = measures["risk_difference_day_7"]
    assert (value, error) == (pytest.approx(1), pytest.approx(0))
    assert 0.85 < low < high <= 1
    assert p < 0.001
    assert check_range(low, high, DIFFERENCE, plan.study.guards) is None
    small = np.repeat(list("abcd"), 3)
    value, _, low, high, p = measure(see(np.ones(12, bool), small), see(np.ones(12, bool), small))[
        "risk_difference_day_7"
    ]
    assert value == pytest.approx(0)
    assert low < -0.2
    assert high > 0.2
    assert p == 1


def find_difference(*arms):
    return {each.term: each for each in measure_arms(*arms, DAYS, HORIZON)}["risk_difference_day_7"]


def test_sites_that_differ_are_told_by_leaving_out_each():
    """Sites in which all or nobody is resolved leave far more room than patients do."""
    site = np.repeat(list("abcdef"), 10)
    whole, half = np.isin(site, list("abc")), np.arange(60) % 2 == 0
    told = find_difference(see(whole, site), see(half, site))
    assert told.limit() == pytest.approx(
        limit_by_sites(told.values[0], told.values[1:], DIFFERENCE), nan_ok=True
    )


def test_sites_that_agree_by_luck_have_the_score_limits_of_a_difference_by_newcombe():
    """Newcombe RG. Stat Med 1998;17:873-890, method 10, table II (from memory): 56/70 less 48/80
    lies between .0524 and .3339."""
    site = np.repeat(list("abcdefghij"), 8), np.repeat(list("abcdefghij"), 7)
    few, many = (np.tile(np.arange(n) < k, 10) for n, k in ((8, 5), (7, 6)))
    few[np.flatnonzero(few)[:2]] = False  # 48 of 80
    many[np.flatnonzero(many)[:4]] = False  # 56 of 70
    told = find_difference(see(few, site[0]), see(many, site[1]))
    assert told.values[0] == pytest.approx(0.2)
    by_arms = mover_difference(*told.bounds)
    assert (by_arms.low, by_arms.high) == pytest.approx((0.0524, 0.3339), abs=2e-4)
    low, high = told.limit()[1:3]
    assert (low, high) == pytest.approx(compare(told.values, DIFFERENCE, *told.bounds)[1:3])
    assert low <= by_arms.low
    assert high >= by_arms.high


@pytest.mark.parametrize("resolved", [True, False])
def test_nobody_is_told_that_there_are_few_events_where_all_are_resolved_or_nobody(
    any_width, resolved
):
    tables = draw(105, effect=0.0, n=200, sites=5)
    spells = tables["spells"]
    ends = (
        {"left_days": 8.0, "right_days": 9.0}
        if resolved
        else {"left_days": 60.0, "right_days": np.inf}
    )
    ended = spells.assign(**ends, status="resolved" if resolved else "unresolved")
    rows = read(estimate_second_line(**tables | {"spells": Spells.cast(ended)}, config=any_width))
    shares = rows.loc[["risk_repeat_day_30", "risk_change_day_30"]]
    assert list(shares["estimate"]) == pytest.approx([float(resolved)] * 2)
    assert (shares["upper"] - shares["lower"]).between(0.01, 0.3).all()
    difference = rows.loc["risk_difference_day_30"]
    assert difference["estimate"] == pytest.approx(0)
    assert difference["lower"] < 0 < difference["upper"]
    assert (rows.loc["risk_ratio_day_30", "status"] == "ok") is resolved
