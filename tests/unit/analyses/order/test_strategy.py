"""What a strategy is made of, and what is told of its course."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.analyses.order.strategy import Strategy, list_measures, list_strategies
from pipeline.analyses.resolution.courses import ANOTHER, FIRST, SAME
from pipeline.statistics.g_formula import follow

FAMILIES = st.sampled_from(["a", "b"])


def test_a_strategy_names_the_kind_of_each_session():
    sessions = Strategy("a", "b", 2).list_sessions(4)
    assert sessions == [(FIRST, "a"), (SAME, "a"), (ANOTHER, "b"), (ANOTHER, "b")]
    assert [Strategy(*each).name for each in (("a", "a", 1), ("a", "b", 1), ("a", "b", 2))] == [
        "a",
        "a > b",
        "a > a > b",
    ]


@given(FAMILIES, FAMILIES, st.integers(1, 2), st.integers(2, 5))
def test_sessions_of_a_strategy_begin_with_its_first_family_and_end_with_the_other(a, b, n, most):
    sessions = Strategy(a, b, n).list_sessions(most)
    assert len(sessions) == most
    assert sessions[0] == (FIRST, a)
    assert all((kind == SAME) == (family == a) for kind, family in sessions[1:])
    assert sessions[-1][1] == (b if n < most else a)


def test_each_other_family_has_four_strategies_beside_the_usual_one():
    names = [strategy.name for strategy in list_strategies("a", ["b"])]
    assert names == ["a", "b", "a > b", "a > a > b", "b > a"]
    assert len(set(list_strategies("a", ["b", "c"]))) == 9


def test_measures_are_shares_days_and_sessions_of_the_course(plan):
    last = plan.study.curves.horizon_day
    measures = list_measures(plan.study.strategies, last)
    at_once = follow(np.r_[0.0, np.full(last, 50.0)][:, None], np.ones(1))  # well on day 1
    never = follow(np.zeros((last + 1, 1)), np.ones(1))
    told = {
        term: (measure.of_course(at_once).value, measure.of_course(never).value)
        for term, measure in measures.items()
    }
    assert told["resolved_by_day_7"] == pytest.approx((1, 0))
    assert told["resolved_after_2_sessions"] == pytest.approx((1, 0))
    assert told["mean_days_with_vertigo"] == pytest.approx((1, plan.study.strategies.horizon_day))
    assert told["mean_sessions"] == pytest.approx((1, plan.study.strategies.sessions))
