"""Truth, answer and naive answer stand side by side, and each is that of its own order."""

import pandas as pd
import pytest

from pipeline.analyses.description.planted_answers import compare_answers
from pipeline.statistics.tidy import state, tidy_estimates, withhold

VARIANT = "variant=posterior_long_arm"
TRUTH = pd.DataFrame(
    {
        "variant": "posterior_long",
        "strategy": ["epley", "semont", "epley > semont"],
        "resolved_by_day_7": [0.6, 0.5, 0.6],
        "resolved_by_day_30": [0.9, 0.8, 0.85],
        "mean_days_with_vertigo": [5.0, 7.0, 6.0],
    }
)


@pytest.fixture
def compared(plan) -> pd.Series:
    """The numbers by order and term."""
    orders = [
        state("resolved_by_day_7", 0.62, lower=0.5, upper=0.7, stratum=f"{VARIANT},strategy=epley"),
        state(
            "resolved_by_day_7", 0.4, lower=0.3, upper=0.55, stratum=f"{VARIANT},strategy=semont"
        ),
        state(
            "difference_resolved_by_day_7",
            -0.22,
            lower=-0.3,
            upper=-0.05,
            comparison="usual strategy",
            stratum=f"{VARIANT},strategy=semont",
        ),
        withhold(
            "resolved_by_day_30",
            "too_few",
            "fewer than 11 episodes",
            stratum=f"{VARIANT},strategy=epley > semont",
        ),
        state(
            "resolved_by_day_7", 0.5, lower=0, upper=1, stratum=f"{VARIANT},strategy=barbecue_roll"
        ),
    ]
    raw = [
        state("first_test_negative", share, stratum=f"{VARIANT},family={family}", n_episodes=50)
        for family, share in (("epley", 0.65), ("semont", 0.35))
    ]
    shared = {"population": "positional", "endpoint": "objective", "method": "m"}
    found = compare_answers(
        tidy_estimates(orders, analysis="strategies", **shared),
        tidy_estimates(raw, analysis="first_choice", **shared),
        TRUTH,
        plan.study,
    )
    assert set(found["analysis"]) == {"planted_answers"}
    return found.assign(order=found["stratum"].str.partition("strategy=")[2]).set_index(
        ["order", "term"]
    )


def test_truth_answer_and_naive_answer_stand_together(compared):
    one = compared.loc["semont"]["estimate"]
    assert one["planted_resolved_by_day_7"] == 0.5
    assert one["found_resolved_by_day_7"] == 0.4
    assert one["naive_resolved_by_day_7"] == 0.35
    assert one["planted_difference_resolved_by_day_7"] == pytest.approx(-0.1)
    assert one["found_difference_resolved_by_day_7"] == -0.22
    assert one["naive_difference_resolved_by_day_7"] == pytest.approx(-0.3)
    limits = compared.loc[("semont", "found_difference_resolved_by_day_7")]
    assert (limits["lower"], limits["upper"]) == (-0.3, -0.05)


def test_without_an_answer_the_reason_stands_there(compared):
    withheld = compared.loc[("epley > semont", "found_resolved_by_day_30")]
    assert withheld["status"] == "too_few"
    assert pd.isna(withheld["estimate"])


def test_the_usual_order_has_no_difference_and_an_order_never_planted_no_row(compared):
    assert not compared.loc["epley"].index.str.contains("difference").any()
    assert "barbecue_roll" not in compared.index.get_level_values("order")


def test_until_the_second_session_an_order_is_its_first_maneuver(compared):
    assert "planted_resolved_by_day_7" not in compared.loc["epley > semont"].index
    assert "planted_resolved_by_day_30" in compared.loc["epley > semont"].index


def test_another_plan_compares_what_was_planted_and_nothing_else(plan):
    strategies = plan.study.strategies.model_copy(update={"days": (14, 30)})
    study = plan.study.model_copy(update={"strategies": strategies})
    answer = state("resolved_by_day_30", 0.8, stratum=f"{VARIANT},strategy=epley")
    shared = {"population": "positional", "endpoint": "objective", "method": "m"}
    released = tidy_estimates([answer], analysis="strategies", **shared)
    found = compare_answers(released, released, TRUTH, study)
    assert "planted_resolved_by_day_30" in set(found["term"])
    assert not found["term"].str.contains("_day_14").any()
