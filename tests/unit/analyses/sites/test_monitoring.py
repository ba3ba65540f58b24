"""Sites are compared whenever they test: equal ones are not called different, others are."""

import numpy as np
import pytest

from pipeline.analyses.sites.monitoring import LEVELS, estimate_site_monitoring
from tests.unit.analyses.resolution.tested_episodes import gather

USUAL = (1, 3, 7, 14, 7, 1)  # days of the first test, of each site


def draw_courses(seed: int, each: int, rates: list[float]) -> list[dict[int, bool]]:
    """Courses of `each` episodes of each site in turn: half are helped at once, the others resolve
    at the site's rate; tested on the site's usual day and every week after it until negative."""
    rng = np.random.default_rng(seed)
    courses = []
    for _ in range(each):
        for usual, rate in zip(USUAL, rates, strict=True):
            day = 1 + rng.geometric(-np.expm1(-rate))
            end = 1 if rng.random() < -np.expm1(-rate / 0.06 * 0.7) else day
            tests = {}
            for test in range(usual, 61, 7):
                tests[test] = bool(test < end)
                if test >= end:
                    break
            courses.append(tests)
    return courses


def monitor(plan, courses: list[dict[int, bool]]):
    tables = gather(plan, courses, sites=len(USUAL))
    del tables["attempts"]
    return estimate_site_monitoring(**tables, config=plan).set_index(["stratum", "term"])


def test_equal_sites_that_test_on_other_days_do_not_look_different(plan):
    scores = []
    for seed in range(3):
        estimates = monitor(plan, draw_courses(seed, 60, [0.06] * 6))
        ratios = estimates.xs("rate_ratio", level="term")
        logs = np.log(ratios["estimate"].astype(float))
        assert logs.sum() == pytest.approx(0, abs=1e-6)
        scores += list(logs / ratios["std_error"].astype(float))
        outside = np.abs(logs / ratios["std_error"].astype(float)) > 1.96
        assert estimates.loc[("all", "sites_outside_95"), "estimate"] == outside.sum()
    assert (np.abs(scores) < 3.3).all()
    assert np.mean(np.abs(scores) > 1.96) < 0.2


def test_a_site_whose_patients_resolve_sooner_has_a_greater_ratio(plan):
    estimates = monitor(plan, draw_courses(5, 90, [0.06] * 5 + [0.24]))
    ratios = estimates.xs("rate_ratio", level="term")
    last = ratios.loc["site=S05"]
    assert last["lower"] > 1
    assert (ratios["estimate"].drop("site=S05") < last["lower"]).all()
    assert estimates.loc[("all", "sites_outside_998"), "estimate"] >= 1
    assert estimates.loc[("all", "rate_ratio_tau2"), "estimate"] > 0.05


def test_small_sites_are_counted_and_have_no_ratio(plan):
    courses = draw_courses(6, 40, [0.06] * 6)
    tables = gather(plan, courses, sites=6)
    del tables["attempts"]
    small = tables["spells"]["site"].eq("S03")
    kept = ~small | tables["spells"]["episode_id"].isin(
        tables["spells"].loc[small, "episode_id"].head(20)
    )
    estimates = estimate_site_monitoring(**tables | {"spells": tables["spells"][kept]}, config=plan)
    numbers = estimates.set_index(["stratum", "term"])
    assert numbers.loc[("all", "sites_large_enough"), "estimate"] == 5
    assert numbers.loc[("all", "sites_below_minimum"), "estimate"] == 1
    assert "site=S03" not in estimates["stratum"].to_numpy()


def test_two_large_sites_are_not_compared(plan):
    courses = [{7: False}] * 60 + [{7: True, 14: False}] * 60
    tables = gather(plan, courses, sites=2)
    del tables["attempts"]
    estimates = estimate_site_monitoring(**tables, config=plan).set_index("term")
    for term in LEVELS:
        assert estimates.loc[term, "status"] == "not_identified"
    assert "rate_ratio" not in estimates.index
