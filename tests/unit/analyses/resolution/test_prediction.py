"""What the joint model predicts beside what was seen: within chance where courses are as it says,
and a site that tests by days since the beginning is seen."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.resolution import prediction
from pipeline.analyses.resolution.prediction import OUTCOMES, estimate_prediction, list_bands
from pipeline.statistics.npmle_search import NotConverged
from tests.unit.analyses.resolution.tested_episodes import gather

SITES, EACH, ODD = 5, 60, 4


def draw_courses(seed: int, odd: float) -> list[dict[int, bool]]:
    """Episodes of each site in turn, tested on one day in twelve whatever was seen before; at the
    site ODD so many times as often on days 8 to 14."""
    rng = np.random.default_rng(seed)
    days, courses = np.arange(1, 61), []
    for number in range(SITES * EACH):
        end = rng.geometric(0.08)
        often = odd if number % SITES == ODD else 1.0
        chance = np.where((days >= 8) & (days <= 14), often, 1.0) / 12
        tested = days[rng.random(len(days)) < chance]
        courses.append({int(day): bool(day < end) for day in tested})
    return courses


def predict_courses(plan, courses, **more) -> pd.DataFrame:
    tables = gather(plan, courses, SITES, **more)
    del tables["attempts"]
    return estimate_prediction(**tables, config=plan).set_index(["stratum", "term"])


@pytest.fixture(scope="module")
def even(plan):
    return predict_courses(plan, draw_courses(1, 1.0))


@pytest.fixture(scope="module")
def uneven(plan):
    return predict_courses(plan, draw_courses(1, 5.0))


def test_bands_end_on_the_days_of_the_plan(plan):
    assert list_bands(plan.study) == [(1, 1), (2, 7), (8, 14), (15, 30), (31, 60)]


def test_courses_as_the_model_says_are_predicted_within_chance(even):
    found = even.loc["all"]
    for outcome in ("tests", "positive_tests"):
        assert found.loc[f"{outcome}_parts_judged", "estimate"] >= 10
        assert found.loc[f"{outcome}_sites_beyond_chance", "estimate"] == 0
        assert found.loc[f"{outcome}_largest_deviation", "p_value"] > 0.05
    row = found.loc["tests_seen_to_expected_day_8_to_14"]
    assert row["lower"] < 1 < row["upper"]
    assert row["n_episodes"] == SITES * EACH


def test_a_site_that_tests_by_days_since_the_beginning_is_seen(uneven):
    found = uneven.loc["all"]
    assert found.loc["tests_sites_beyond_chance", "estimate"] >= 1
    assert found.loc["tests_largest_deviation", "estimate"] > 4
    assert found.loc["tests_largest_deviation", "p_value"] < 0.001
    ratios = uneven.xs("tests_seen_to_expected_day_8_to_14", level="term")["estimate"]
    assert ratios.drop("all").idxmax() == f"site=S{ODD:02d}"
    assert ratios[f"site=S{ODD:02d}"] > 1.3


def test_a_site_has_neither_an_interval_nor_an_error_that_would_tell_its_tests(even):
    of_sites = even[even.index.get_level_values("stratum") != "all"]
    assert of_sites["status"].eq("ok").any()
    assert of_sites[["lower", "upper", "std_error", "p_value", "n_events"]].isna().all(axis=None)


def test_too_little_to_judge_is_not_judged(plan):
    found = predict_courses(plan, [{7: False}] * 30 + [{7: True, 14: False}] * 20)
    assert found.loc[("all", "reports_parts_judged"), "estimate"] == 0
    assert found.loc[("all", "reports_largest_deviation"), "status"] == "too_few"
    assert found.loc[("all", "tests_seen_to_expected_day_1"), "status"] == "too_few"


def test_without_a_fit_every_number_says_why(plan, monkeypatch):
    def fail(members, days, study):
        raise NotConverged("no end")

    monkeypatch.setattr(prediction, "fit_courses", fail)
    found = predict_courses(plan, [{7: False}] * 30)
    assert found["status"].eq("not_converged").all()
    assert len(found) == len(OUTCOMES) * (5 + len(prediction.SUMMARY))
    few = gather(plan, [{7: False}] * 30, 2)
    del few["attempts"]
    assert estimate_prediction(**few, config=plan)["status"].eq("not_identified").all()
