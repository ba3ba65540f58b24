"""Funnels: exact limits, equal sites inside them, case mix taken out, a planted departure found, and no site that is too small."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from pipeline.models.case_mix import Departure, fit_hazard, keep_told_apart, measure_departure, predict_share
from pipeline.models.site_monitoring import estimate_site_monitoring, find_control_limits
from tests.simulated_sites import FASTER, RATE, SHAPE, simulate_sites, true_share

KNOTS = (1.0, 60**0.5, 60.0)


def monitor(tables, plan) -> pd.DataFrame:
    return estimate_site_monitoring(tables.episodes, tables.spells, tables.adjudications, tables.attempts, plan)


def rows_of(estimates: pd.DataFrame, stratum: str) -> pd.DataFrame:
    return estimates[estimates["stratum"].eq(stratum)].set_index("term")


def intervals(seed: int, sizes: list[int], **planted) -> tuple[np.ndarray, ...]:
    """Sites, left and right ends and a covariate (lateral canal) of those who are followed."""
    tables = simulate_sites(sizes, seed, **planted)
    rows = tables.spells.merge(tables.adjudications[["site", "episode_id", "canal"]], on=["site", "episode_id"])
    rows = rows[rows["status"].ne("not_looked")]
    lateral = rows["canal"].eq("lateral").to_numpy(float)[:, None]
    return rows["site"].to_numpy(str), rows["left_days"].to_numpy(float), rows["right_days"].to_numpy(float), lateral


@given(st.integers(11, 300), st.floats(0.02, 0.98), st.sampled_from([0.9, 0.95, 0.998]))
@settings(max_examples=100, deadline=None)
def test_limits_are_exact(n, expected, coverage):
    """No side is left with more than half of the rest, and one whole count nearer it would be."""
    low, high = find_control_limits(expected, n, coverage)
    tail, counts = (1 - coverage) / 2, np.arange(n + 1)
    chance = binom.pmf(counts, n, expected)
    assert chance[counts / n < low - 1e-12].sum() <= tail + 1e-12
    assert chance[counts / n > high + 1e-12].sum() <= tail + 1e-12
    assert chance[counts / n < low + 1 / n].sum() >= tail - 1e-12
    assert chance[counts / n > high - 1 / n].sum() >= tail - 1e-12
    assert low < expected < high


def test_limits_by_hand():
    # binomial with 20 and .5, printed tables: P(<= 5) = .0207, P(<= 6) = .0577, so that .025 lies at 5 + (.025 - .0207) / .0370 = 5.116
    low, high = find_control_limits(0.5, 20, 0.95)
    assert (20 * low, 20 * high) == (pytest.approx(5.116, abs=2e-3), pytest.approx(14.884, abs=2e-3))


def test_hazard_finds_what_was_planted():
    _, left, right, lateral = intervals(1, [1500])
    fit = fit_hazard(left, right, lateral, (1.0, 60.0))
    errors = np.sqrt(np.diag(fit.covariance))
    assert (np.abs(fit.coefficients - [np.log(RATE), SHAPE, FASTER]) < 4 * errors).all()
    assert errors.max() < 0.1
    for day in (7, 30):
        share, error = predict_share(
            fit_hazard(left, right, lateral, KNOTS), np.repeat([[0.0], [1.0]], [6, 4], axis=0), day
        )
        assert abs(share - true_share(day)) < 4 * error


def test_a_look_after_the_last_knot_counts_alike_whatever_it_shows():
    rng, n = np.random.default_rng(3), 20000
    time = 20 * rng.weibull(0.7, n)
    first, second = rng.integers(2, 31, n), rng.integers(61, 200, n)
    left = np.select([time > second, time > first], [second, first], 0.0)
    right = np.select([time <= first, time <= second], [first, second], np.inf)
    fit = fit_hazard(left, right, np.empty((n, 0)), (1.0, 60.0))
    for day in (7, 30):  # cut at the last knot, a share was .06 off
        share, error = predict_share(fit, np.empty((n, 0)), day)
        assert abs(share - -np.expm1(-((day / 20) ** 0.7))) < 4 * error


def test_errors_of_departure_are_those_of_repeated_samples():
    """Equal sites: the mean of observed less expected is nought, and its spread that of the stated error."""
    found = []
    for seed in range(12):
        site, left, right, lateral = intervals(100 + seed, [60] * 8)
        for name in ("S01", "S02", "S03"):
            own = site == name
            fit = fit_hazard(left[~own], right[~own], lateral[~own], KNOTS)
            told = measure_departure(fit, left[own], right[own], lateral[own], (7,))[7]
            found.append((told.observed - told.expected) / told.error)
    assert abs(np.mean(found)) < 3 / np.sqrt(36)
    assert 0.6 < np.std(found) < 1.4  # 36 draws: 4 standard errors of a standard deviation are .47


def test_a_departure_is_found_in_height_and_slope():
    site, left, right, lateral = intervals(2, [400] * 4, shifts=[-0.8, 0, 0, 0])
    own = site == "S01"
    fit = fit_hazard(left[~own], right[~own], lateral[~own], KNOTS)
    told = measure_departure(fit, left[own], right[own], lateral[own], (7, 30))
    for day in (7, 30):
        assert isinstance(told[day], Departure)
        assert abs(told[day].observed - true_share(day, -0.8)) < 4 * told[day].error
        assert told[day].expected - told[day].observed > 3 * told[day].error


def test_the_error_of_the_expected_share_is_taken_in():
    site, left, right, lateral = intervals(11, [900, 40, 40])
    own = site == "S01"  # a large site against few others: nearly all of the error is theirs
    fit = fit_hazard(left[~own], right[~own], lateral[~own], (1.0, 60.0))
    told = measure_departure(fit, left[own], right[own], lateral[own], (7,))[7]
    assert told.error > predict_share(fit, lateral[own], 7)[1]


def test_a_flat_course_is_refused():
    # looked at once, on day 40 or day 50, and more often resolved on the earlier: no curve that rises fits
    left = np.repeat([0.0, 40.0, 0.0, 50.0], [18, 2, 4, 16])
    right = np.repeat([40.0, np.inf, 50.0, np.inf], [18, 2, 4, 16])
    assert fit_hazard(left, right, np.empty((40, 0)), (1.0, 60.0)).status == "not_identified"


def test_equal_sites_with_unlike_patients_lie_within_limits(plan):
    # sites differ only in their share of lateral canals, which resolve faster
    found = monitor(simulate_sites([120] * 8, seed=3, lateral=[0.05, 0.95] * 4), plan)
    within = 0
    for number in range(1, 9):
        own = rows_of(found, f"site=S{number:02d}")["estimate"]
        assert own["control_lower_99.8_day_7"] < own["observed_by_day_7"] < own["control_upper_99.8_day_7"]
        within += own["control_lower_95_day_7"] < own["observed_by_day_7"] < own["control_upper_95_day_7"]
        assert abs(own["expected_by_day_7"] - true_share(7, lateral=[0.95, 0.05][number % 2])) < 0.08
    assert within >= 6
    assert rows_of(found, "all").loc["overdispersion_day_7", "p_value"] > 0.01


def test_a_site_that_differs_does_not_pull_its_yardstick(plan):
    found = monitor(simulate_sites([150] * 6, seed=4, shifts=[-1.2, 0, 0, 0, 0, 0]), plan)
    own = rows_of(found, "site=S01")["estimate"]
    assert abs(own["expected_by_day_7"] - true_share(7)) < 0.06
    assert own["observed_by_day_7"] < own["control_lower_99.8_day_7"] < own["control_lower_95_day_7"]
    spread = rows_of(found, "all").loc["overdispersion_day_7"]
    assert spread["estimate"] > 2
    assert "more than chance" in spread["note"]


def test_the_best_site_is_compared_too(plan):
    # hardly anyone is unresolved on day 30 there
    found = monitor(simulate_sites([100] * 5, seed=5, shifts=[1.2, 0, 0, 0, 0]), plan)
    own = rows_of(found, "site=S01")
    assert own.loc["observed_by_day_30", "status"] == "ok"
    assert own.loc["observed_by_day_30", "estimate"] > own.loc["expected_by_day_30", "estimate"]


def test_effective_numbers_stay_below_those_followed(plan):
    tables = simulate_sites([80] * 5, seed=6)
    found = monitor(tables, plan)
    for number in range(1, 6):
        own = rows_of(found, f"site=S{number:02d}")
        for day in (7, 30):
            assert plan.study.guards.min_episodes <= own.loc[f"effective_number_day_{day}", "estimate"] <= 80
            assert own.loc[f"effective_number_day_{day}", "estimate"] <= own.loc[f"observed_by_day_{day}", "n_episodes"]


def test_small_sites_are_not_compared(plan):
    least = plan.study.site_monitoring.min_episodes
    found = monitor(simulate_sites([100, 100, 100, least - 1], seed=7), plan)
    assert not found["stratum"].eq("site=S04").any()
    together = rows_of(found, "all")["estimate"]
    assert (together["sites_below_minimum"], together["sites_compared_day_7"]) == (1, 3)


def test_two_sites_are_too_few_for_a_comparison(plan):
    found = monitor(simulate_sites([100, 100], seed=8), plan)
    assert set(rows_of(found, "site=S01")["status"]) == {"not_identified"}
    assert rows_of(found, "all").loc["overdispersion_day_7", "status"] == "not_identified"


def test_order_of_rows_changes_nothing_and_sites_come_by_their_codes(plan):
    tables = simulate_sites([60, 90, 50, 70], seed=9, shifts=[0.3, -0.3, 0, 0.5])
    once = monitor(tables, plan)
    for seed, name in enumerate(("episodes", "spells", "adjudications", "attempts")):
        setattr(tables, name, getattr(tables, name).sample(frac=1, random_state=seed))
    pd.testing.assert_frame_equal(once, monitor(tables, plan), check_exact=True)
    named = [stratum for stratum in once["stratum"].unique() if stratum != "all"]
    assert named == sorted(named)


def test_columns_that_hardly_differ_are_told_apart_or_dropped(plan):
    rng = np.random.default_rng(10)
    first, second = rng.random(200) < 0.3, rng.random(200) < 0.5
    nearly = first.copy()
    nearly[:3] = ~nearly[:3]  # differs in three episodes
    matrix = pd.DataFrame({"first": first, "second": second, "nearly": nearly}).astype(float)
    kept = keep_told_apart(matrix, np.ones((200, 1)), plan.study.guards)
    assert list(kept) == ["first", "second"]
