"""Which order of maneuvers: what a strategy is made of, that planted orders come back, and a status
where too few were treated so."""

from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.analyses.order.strategies import (
    Strategy,
    estimate_strategies,
    list_measures,
    list_strategies,
    relate_to_first,
)
from pipeline.analyses.resolution.courses import ANOTHER, FIRST, SAME, Days, Jump
from pipeline.statistics.g_formula import follow
from tests.recovery.strategies import answer_strategies, find_strategy_truths
from tests.unit.analyses.resolution.tested_episodes import ANALYSED, gather

FAMILIES = st.sampled_from(["a", "b"])


def test_a_strategy_names_the_kind_of_each_session():
    jumps = Strategy("a", "b", 2).list_jumps("v", 4)
    assert jumps == [
        Jump("v", FIRST, "a"),
        Jump("v", SAME, "a"),
        Jump("v", ANOTHER, "b"),
        Jump("v", ANOTHER, "b"),
    ]
    assert [Strategy(*each).name for each in (("a", "a", 1), ("a", "b", 1), ("a", "b", 2))] == [
        "a",
        "a > b",
        "a > a > b",
    ]


@given(FAMILIES, FAMILIES, st.integers(1, 2), st.integers(2, 5))
def test_sessions_of_a_strategy_begin_with_its_first_family_and_end_with_the_other(a, b, n, most):
    jumps = Strategy(a, b, n).list_jumps("v", most)
    assert len(jumps) == most
    assert jumps[0] == Jump("v", FIRST, a)
    assert all((jump.kind == SAME) == (jump.family == a) for jump in jumps[1:])
    assert jumps[-1].family == (b if n < most else a)


def test_each_other_family_has_four_strategies_beside_the_usual_one():
    names = [strategy.name for strategy in list_strategies("a", ["b"])]
    assert names == ["a", "b", "a > b", "a > a > b", "b > a"]
    assert len(set(list_strategies("a", ["b", "c"]))) == 9


def test_sessions_are_told_apart_by_the_first_one():
    given_sessions = pd.DataFrame(
        {
            "row": [0, 0, 0, 1, 1],
            "day": [0, 7, 14, 0, 7],
            "family": ["a", "b", "b", "a", "a"],
            "kind": [FIRST, ANOTHER, SAME, FIRST, SAME],
        }
    )
    nothing = pd.DataFrame().to_numpy()
    days = Days(nothing, nothing, nothing, nothing, given_sessions, 1)
    kinds = relate_to_first(days).sessions["kind"]
    assert list(kinds) == [FIRST, ANOTHER, ANOTHER, FIRST, SAME]


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


@cache
def answer() -> pd.DataFrame:
    """One simulated pool, with the truth beside it."""
    line = answer_strategies(("treated_at_test", 1))
    columns = ["term", "stance", "estimate", "lower", "upper", "status"]
    answers = pd.DataFrame(line["answers"], columns=columns)
    honest = answers[answers["stance"].eq("honest")].set_index("term")
    return honest.join(pd.Series(find_strategy_truths("treated_at_test"), name="truth"))


def test_planted_orders_come_back():
    answers = answer().dropna(subset=["truth", "lower"])
    inside = answers["lower"].le(answers["truth"]) & answers["truth"].le(answers["upper"])
    assert len(answers) > 60
    assert inside.mean() > 0.8  # numbers of one pool go together


def test_where_nothing_differs_no_interval_is_told_to():
    answers = answer()
    equal = answers[answers.index.str.contains("lateral.* difference_") & answers["lower"].notna()]
    assert len(equal) > 20
    assert equal["truth"].eq(0).all()
    assert (equal["lower"].le(0) & equal["upper"].ge(0)).mean() > 0.8


def test_few_sites_or_few_sessions_give_a_status(plan):
    names = [name for name in ANALYSED if name != "attempts"]
    names += ["examinations", "treatments", "followups"]
    courses = [{7: False}] * 30 + [{7: True, 14: False}] * 30

    def estimate(sites: int) -> pd.DataFrame:
        rows = gather(plan, courses, sites=sites)
        return estimate_strategies(**{name: rows[name] for name in names}, config=plan)

    assert estimate(2)["status"].eq("not_identified").all()
    assert len(estimate(2)) > 0
    once = estimate(5)  # each had one session, so that nothing is known of the same again
    assert once["status"].eq("too_few").all()
    assert once["n_episodes"].eq(0).all()
