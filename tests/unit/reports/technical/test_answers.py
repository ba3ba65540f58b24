"""Planted and found: the truth stands beside the answer, and whether its limits hold it is said."""

import pytest

from pipeline.reports.technical.answers import view_answers
from pipeline.statistics.tidy import state, tidy_estimates, withhold

VARIANT = "variant=posterior_long_arm"


def show(plan, *rows):
    estimates = tidy_estimates(
        list(rows), analysis="planted_answers", population="demonstration pool", method="simulation"
    )
    tables, left = view_answers(estimates, plan)
    assert left.empty
    return tables


@pytest.mark.parametrize(("truth", "word"), [(0.6, "yes"), (0.9, "no")])
def test_whether_the_limits_hold_the_truth_is_said(plan, truth, word):
    stratum = f"{VARIANT},strategy=semont"
    (table,) = show(
        plan,
        state("planted_resolved_by_day_7", truth, stratum=stratum),
        state("found_resolved_by_day_7", 0.5, lower=0.4, upper=0.7, stratum=stratum),
        state("naive_resolved_by_day_7", 0.3, stratum=stratum),
    )
    (row,) = table["groups"][0]["rows"]
    shown = dict(zip(table["columns"], row["cells"], strict=True))
    assert shown["Holds the truth"] == word
    assert float(shown["Planted"]) == truth
    assert float(shown["Naive answer"]) == 0.3


def test_an_order_without_an_answer_is_left_out(plan):
    stratum = f"{VARIANT},strategy=epley"
    assert not show(
        plan,
        state("planted_resolved_by_day_7", 0.6, stratum=stratum),
        withhold("found_resolved_by_day_7", "too_few", "fewer than 11 episodes", stratum=stratum),
    )
