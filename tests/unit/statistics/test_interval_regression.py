"""Interval-censored regression: planted truth, invariances, the derivative it climbs by,
and no number where there is no maximum."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import minimize

from pipeline.statistics.guard import Refusal
from pipeline.statistics.interval_regression import (
    FAMILIES,
    collapse_patterns,
    fit_aft,
    score_patterns,
    share_past,
)

NOISE = {
    "weibull": lambda rng, n: np.log(rng.exponential(size=n)),
    "lognormal": lambda rng, n: rng.normal(size=n),
    "loglogistic": lambda rng, n: rng.logistic(size=n),
}
TRUTH = np.array([1.8, 0.5, -0.7])
SCALE = 0.8


def simulate(family: str, n: int, rng: np.random.Generator, visits=(1, 3, 7, 14, 30)):
    """Intervals between kept visits, each kept with probability 0.7,
    of times with coefficients TRUTH and SCALE."""
    design = np.column_stack([np.ones(n), rng.random(n) < 0.5, rng.random(n) < 0.3]).astype(float)
    time = np.exp(design @ TRUTH + SCALE * NOISE[family](rng, n))
    days = np.where(rng.random((n, len(visits))) < 0.7, np.array(visits, float), np.nan)
    left = np.nanmax(
        np.column_stack([np.zeros(n), np.where(days < time[:, None], days, np.nan)]), axis=1
    )
    right = np.nanmin(
        np.column_stack([np.full(n, np.inf), np.where(days >= time[:, None], days, np.nan)]), axis=1
    )
    return left, right, design


def fit(left, right, design, family, weight=None):
    return fit_aft(collapse_patterns(left, right, design, weight)[0], family)


@pytest.mark.parametrize("family", FAMILIES)
def test_planted_coefficients_and_their_errors_come_back(family):
    rng = np.random.default_rng([7, FAMILIES.index(family)])
    pools = [fit(*simulate(family, 300, rng), family) for _ in range(150)]
    z = np.array(
        [
            (np.append(result.coef, np.log(result.scale)) - np.append(TRUTH, np.log(SCALE)))
            / np.sqrt(np.diag(result.covariance))
            for result in pools
        ]
    )
    # 150 pools: mean of z within 4 of its own errors (and 0.15 of an error for the bias of order
    # 1/n), mean square likewise
    assert np.abs(z.mean(axis=0)).max() < 4 / np.sqrt(150) + 0.15
    assert np.abs((z**2).mean(axis=0) - 1).max() < 4 * np.sqrt(2 / 150)


@pytest.mark.parametrize("family", FAMILIES)
def test_weights_are_repeated_rows_in_estimate_and_error(family):
    left, right, design = simulate(family, 80, np.random.default_rng(1))
    times = np.arange(80) % 4
    weighted = fit(left, right, design, family, times)
    repeated = fit(*(np.repeat(part, times, axis=0) for part in (left, right, design)), family)
    np.testing.assert_allclose(weighted.coef, repeated.coef, rtol=1e-9)
    np.testing.assert_allclose(weighted.covariance, repeated.covariance, rtol=1e-7)


@pytest.mark.parametrize("family", FAMILIES)
def test_the_order_of_rows_changes_no_byte(family):
    rows = simulate(family, 200, np.random.default_rng(2))
    order = np.random.default_rng(3).permutation(200)
    one, other = fit(*rows, family), fit(*(part[order] for part in rows), family)
    assert one.coef.tobytes() == other.coef.tobytes()
    assert one.covariance.tobytes() == other.covariance.tobytes()


@pytest.mark.parametrize("family", FAMILIES)
def test_another_optimiser_from_elsewhere_finds_no_better_place(family):
    patterns, _ = collapse_patterns(*simulate(family, 200, np.random.default_rng(4)))
    result = fit_aft(patterns, family)
    for start in ([0.0, 0.0, 0.0, 0.3], [5.0, 3.0, -3.0, 2.0]):
        other = minimize(
            lambda at: -score_patterns(at, patterns, family)[0],
            start,
            method="Nelder-Mead",
            tol=1e-10,
        )
        assert -other.fun == pytest.approx(result.log_likelihood, abs=1e-6)


@settings(max_examples=25)
@given(st.sampled_from(FAMILIES), st.integers(0, 10**6), st.floats(0.01, 100))
def test_another_unit_of_time_moves_the_intercept_only(family, seed, unit):
    left, right, design = simulate(family, 120, np.random.default_rng(seed))
    days, other = fit(left, right, design, family), fit(left * unit, right * unit, design, family)
    np.testing.assert_allclose(other.coef - days.coef, [np.log(unit), 0, 0], atol=1e-6)
    np.testing.assert_allclose(other.covariance, days.covariance, rtol=1e-5, atol=1e-9)
    assert other.log_likelihood == pytest.approx(days.log_likelihood, abs=1e-7)


@settings(max_examples=40)
@given(
    st.sampled_from(FAMILIES),
    st.integers(0, 10**6),
    st.tuples(*[st.floats(-2, 2)] * 3, st.floats(0.2, 3)),
)
def test_derivatives_are_those_of_the_likelihood(family, seed, point):
    patterns, _ = collapse_patterns(*simulate(family, 30, np.random.default_rng(seed)))
    at = np.array(point)
    value, gradient, information = score_patterns(at, patterns, family)
    shifts = 1e-5 * np.eye(4)
    both_sides = [
        (score_patterns(at + s, patterns, family), score_patterns(at - s, patterns, family))
        for s in shifts
    ]
    size = 1 + np.abs(value) + np.abs(information).max()
    np.testing.assert_allclose(
        [(up[0] - down[0]) / 2e-5 for up, down in both_sides], gradient, atol=1e-5 * size
    )
    np.testing.assert_allclose(
        [(down[1] - up[1]) / 2e-5 for up, down in both_sides], information, atol=1e-5 * size
    )


@pytest.mark.parametrize(
    ("family", "law"),
    [
        ("weibull", stats.weibull_min(1 / 0.5, scale=np.exp(2))),
        ("lognormal", stats.lognorm(0.5, scale=np.exp(2))),
        ("loglogistic", stats.fisk(1 / 0.5, scale=np.exp(2))),
    ],
)
def test_chances_are_those_of_the_named_distribution(family, law):
    ends = np.array([0, 0.01, 1, 5, 8, 20, 200, np.inf])
    patterns, index = collapse_patterns(ends[:-1], ends[1:], np.ones((7, 1)))
    single = [
        score_patterns(np.array([2 / 0.5, 1 / 0.5]), patterns._replace(weight=w), family)[0]
        for w in np.eye(7)
    ]
    upper, lower = law.sf(ends[:-1]) - law.sf(ends[1:]), law.cdf(ends[1:]) - law.cdf(ends[:-1])
    np.testing.assert_allclose(
        np.array(single)[index], np.log(np.where(ends[1:] > 8, upper, lower)), rtol=1e-8
    )


@pytest.mark.parametrize("z", [20.0, -21.0, 50.0, -51.0])
def test_normal_chances_keep_their_digits_far_out_in_either_tail(z):
    patterns, _ = collapse_patterns([np.exp(z)], [np.exp(z + 1)], np.ones((1, 1)))
    nearer, farther = sorted([abs(z), abs(z + 1)])
    truth = stats.norm.logsf(nearer) + np.log1p(
        -np.exp(stats.norm.logsf(farther) - stats.norm.logsf(nearer))
    )
    assert score_patterns(np.array([0.0, 1.0]), patterns, "lognormal")[0] == pytest.approx(
        truth, rel=1e-12
    )


@pytest.mark.parametrize("family", FAMILIES)
def test_share_past_a_day_is_one_for_the_sure_and_the_median_is_half(family):
    result = fit(*simulate(family, 300, np.random.default_rng(5)), family)
    middle = {"weibull": np.log(np.log(2))}.get(family, 0.0)
    row = np.array([[1.0, 1.0, 0.0]])
    assert share_past(
        result, row, np.exp(row[0] @ result.coef + result.scale * middle)
    ) == pytest.approx(0.5)
    assert share_past(result, row, 1e12) == pytest.approx(1)


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize(
    ("left", "right"),
    [
        ([0] * 20, [1, 3] * 10),
        ([1, 3] * 10, [np.inf] * 20),
        ([3] * 20, [7] * 20),
        ([2, 3] * 10, [6, 5] * 10),
    ],
    ids=["all before the first test", "none seen", "all in one interval", "all around one day"],
)
def test_no_number_without_a_maximum(family, left, right):
    result = fit(left, right, np.ones((20, 1)), family)
    assert isinstance(result, Refusal)
    assert result.status == "not_identified"


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize(("left", "right"), [(0, 1), (7, np.inf)], ids=["all events", "no event"])
def test_a_separated_class_has_no_number_and_leaves_the_others_alone(family, left, right):
    rows = simulate(family, 200, np.random.default_rng(6))
    clean = fit(*rows, family)
    wide = np.column_stack([np.vstack([rows[2], [[1, 0, 0]] * 12]), np.arange(212) >= 200])
    result = fit(np.append(rows[0], [left] * 12), np.append(rows[1], [right] * 12), wide, family)
    assert np.isnan(result.coef[3])
    np.testing.assert_allclose(result.coef[:3], clean.coef, rtol=1e-6)
    assert np.isnan(share_past(result, wide[-1:], 7)).all()
    assert np.isfinite(share_past(result, wide[:1], 7)).all()


def test_a_class_without_members_has_no_number_and_leaves_the_others_alone():
    left, right, design = simulate("weibull", 200, np.random.default_rng(7))
    result = fit(left, right, np.column_stack([design, np.zeros(200)]), "weibull")
    assert np.isnan(result.coef[3])
    np.testing.assert_allclose(result.coef[:3], fit(left, right, design, "weibull").coef, rtol=1e-8)


def test_two_terms_that_are_one_have_no_number_and_leave_the_others_alone():
    left, right, design = simulate("lognormal", 200, np.random.default_rng(8))
    result = fit(left, right, np.column_stack([design, design[:, 2]]), "lognormal")
    assert np.isnan(result.coef[2:]).all()
    np.testing.assert_allclose(
        result.coef[:2], fit(left, right, design, "lognormal").coef[:2], rtol=1e-8
    )


def test_rows_without_information_change_nothing():
    rows = simulate("loglogistic", 100, np.random.default_rng(9))
    more = fit(
        np.append(rows[0], 0),
        np.append(rows[1], np.inf),
        np.vstack([rows[2], [1, 1, 1]]),
        "loglogistic",
    )
    np.testing.assert_allclose(more.coef, fit(*rows, "loglogistic").coef, rtol=1e-10)


@pytest.mark.parametrize(
    "pair", [(3, 3), (5, 2), (-1, 2), (np.nan, 2), (2, np.nan), (np.inf, np.inf)]
)
def test_what_is_no_interval_is_refused(pair):
    with pytest.raises(ValueError, match="interval"):
        collapse_patterns([pair[0]], [pair[1]], np.ones((1, 1)))


@pytest.mark.parametrize("family", FAMILIES)
def test_ten_times_the_episodes_cost_no_more_patterns_than_there_are(family):
    rows = simulate(family, 500, np.random.default_rng(10))
    one, ten = (
        collapse_patterns(*rows)[0],
        collapse_patterns(*(np.repeat(part, 10, axis=0) for part in rows))[0],
    )
    assert len(ten.left) == len(one.left)
    assert fit_aft(ten, family).coef == pytest.approx(fit_aft(one, family).coef, rel=1e-8)
