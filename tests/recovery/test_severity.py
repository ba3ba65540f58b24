"""Where the severity at the failed examination prompts the change and nothing is planted, the
second line is far less biased than naive shares, and its limits seldom leave no difference out."""

import numpy as np
import pandas as pd
import pytest

from schemas.delivery import TABLES
from schemas.store import Provenance
from tests.recovery.severity import PLANTED, PLANTED_DAY, Plan, draw_people, draw_pools, tell_truths
from tests.recovery.severity_study import answer_batch, list_plans, tabulate_severity

ALL_BY_30 = "all risk_difference_day_30"


def test_tables_are_as_clinics_deliver_them_and_the_same_seed_draws_the_same_pools():
    plan = list_plans()["planted_few"]
    tables, pool_of = draw_pools(plan, 2, 1)
    again, _ = draw_pools(plan, 2, 1)
    for name in ("episodes", "examinations", "treatments"):
        TABLES[name].validate(tables[name].drop(columns=list(Provenance.describe())), lazy=True)
        pd.testing.assert_frame_equal(tables[name], again[name])
    assert pool_of.value_counts().to_dict() == {0: plan.sites, 1: plan.sites}


def test_what_is_planted_is_what_it_says():
    people = draw_people(Plan("", 400, 40), 1, np.random.default_rng(5))
    assert (people["repeat"] == people["change"]).all()
    by_grade = people.groupby("grade")[["changed", "repeat"]].agg(
        {"changed": "mean", "repeat": "median"}
    )
    assert by_grade["changed"].is_monotonic_increasing
    assert by_grade["repeat"].is_monotonic_increasing
    truths = tell_truths(list_plans()["planted"], (PLANTED_DAY,))
    assert truths["adherent_debris", PLANTED_DAY] == pytest.approx(PLANTED, abs=0.005)
    assert 0 < truths["all", PLANTED_DAY] < PLANTED


def find_row(table: pd.DataFrame, stance: str) -> pd.Series:
    rows = table[table["term"].eq(ALL_BY_30) & table["stance"].eq(stance)]
    return rows.iloc[0]


def test_weights_take_most_of_the_bias_of_a_few_pools_away():
    told = tabulate_severity(list(answer_batch("no_effect", 0, pools=12)))
    naive, weighted = (find_row(told, stance) for stance in ("naive", "weighted"))
    assert naive["bias"] < -8 * naive["bias_error"]
    assert abs(weighted["bias"]) < abs(naive["bias"]) / 2


@pytest.mark.slow
@pytest.mark.parametrize("scenario", ["no_effect", "threshold"])
def test_a_tenth_of_the_bias_is_left_in_300_small_pools_and_limits_leave_out_no_effect_in_few(
    scenario,
):
    lines = [line for seed in range(15) for line in answer_batch(scenario, seed)]
    told = tabulate_severity(lines)
    naive, weighted = (find_row(told, stance) for stance in ("naive", "weighted"))
    # the bias of a mean over 300 pools has a standard error of .004 to .005
    assert abs(weighted["bias"]) < abs(naive["bias"]) / 10 + 2 * weighted["bias_error"]
    assert weighted["type_i_error"] < 0.05 < naive["type_i_error"]
