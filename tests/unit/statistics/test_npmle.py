"""The interval-censored estimator and its bootstrap: planted truth, properties,
meaning at the edges, errors."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.statistics import npmle_search
from pipeline.statistics.npmle import collapse_intervals, fit_many, fit_npmle
from pipeline.statistics.npmle_search import NotConverged

INF = np.inf
DAYS = np.arange(0, 45)

observations = st.lists(
    st.tuples(st.integers(0, 20), st.one_of(st.integers(1, 20), st.just(INF)), st.integers(1, 50)),
    min_size=1,
    max_size=30,
).map(
    lambda rows: tuple(
        np.array([(left, left + width, weight) for left, width, weight in rows], dtype=float).T
    )
)


def follow(
    n: int, rng: np.random.Generator, tests: int = 8, horizon: int = 60
) -> tuple[np.ndarray, np.ndarray]:
    """Patients with event times of mean 12 days, each tested on some of the whole days up to the
    horizon."""
    event = rng.exponential(12, n)[:, None]
    test = np.argsort(rng.random((n, horizon)), axis=1)[:, :tests] + 1.0
    return np.where(test < event, test, 0).max(axis=1), np.where(test >= event, test, INF).min(
        axis=1
    )


def largest_gradient(left, right, weight, fit) -> float:
    """The largest gradient of the log-likelihood per unit of weight,
    over all cells between two neighbouring ends.

    At most 1 everywhere: no distribution at all, wherever it puts its mass, is more likely than the
    fitted one.
    """
    inside = [
        sum(
            m
            for a, b, m in zip(fit.left, fit.right, fit.mass, strict=True)
            if low <= a and b <= high
        )
        for low, high in zip(left, right, strict=True)
    ]
    ends = sorted({*left, *right})
    return max(
        sum(
            w / d
            for low, high, w, d in zip(left, right, weight, inside, strict=True)
            if low <= a and b <= high
        )
        for a, b in pairwise(ends)
    ) / sum(weight)


@given(observations)
@settings(max_examples=200)
def test_no_distribution_is_more_likely(rows):
    fit = fit_npmle(*rows)
    assert largest_gradient(*rows, fit) <= 1 + 1e-8
    assert fit.max_gradient <= 1 + npmle_search.TOLERANCE
    assert fit.mass.sum() == pytest.approx(1, abs=1e-12)
    assert (fit.mass >= 0).all()
    lower, upper = fit.survival(DAYS)
    assert (lower <= upper).all()
    assert (np.diff([lower, upper]) <= 0).all()
    left, right, weight = rows
    inside = [
        fit.mass[(fit.left >= low) & (fit.right <= high)].sum()
        for low, high in zip(left, right, strict=True)
    ]
    assert fit.log_likelihood == pytest.approx(weight @ np.log(inside), rel=1e-9, abs=1e-9)


@given(observations, st.randoms(use_true_random=False))
def test_weights_are_repetitions_and_the_order_of_rows_means_nothing(rows, random):
    left, right, weight = rows
    repeated = [(a, b) for a, b, w in zip(left, right, weight, strict=True) for _ in range(int(w))]
    random.shuffle(repeated)
    weighted, expanded = fit_npmle(*rows), fit_npmle(*zip(*repeated, strict=True))
    np.testing.assert_array_equal(expanded.left, weighted.left)
    np.testing.assert_array_equal(expanded.mass, weighted.mass)
    assert expanded.log_likelihood == weighted.log_likelihood


@given(observations, st.sampled_from([0.5, 24.0, 1440.0]))
def test_change_of_the_time_unit_changes_only_the_unit(rows, factor):
    left, right, weight = rows
    fit, scaled = fit_npmle(*rows), fit_npmle(left * factor, right * factor, weight)
    np.testing.assert_array_equal(scaled.left, fit.left * factor)
    np.testing.assert_array_equal(scaled.right, fit.right * factor)
    np.testing.assert_array_equal(scaled.mass, fit.mass)


def test_one_never_seen_again_adds_nothing():
    left, right = follow(300, np.random.default_rng(3))
    days = np.arange(60)
    alone, joined = fit_npmle(left, right), fit_npmle(np.append(left, 0), np.append(right, INF))
    np.testing.assert_allclose(joined.survival(days), alone.survival(days), rtol=0, atol=1e-5)
    assert joined.log_likelihood == pytest.approx(alone.log_likelihood, abs=1e-6)


def test_truth_comes_back():
    left, right = follow(20_000, np.random.default_rng(4))
    lower, upper = fit_npmle(left, right).survival([3, 7, 14, 30])
    truth = np.exp(-np.array([3, 7, 14, 30]) / 12)
    np.testing.assert_allclose(lower, truth, rtol=0, atol=0.02)
    np.testing.assert_allclose(upper, truth, rtol=0, atol=0.02)


def test_inside_an_interval_only_bounds_are_known():
    lower, upper = fit_npmle([5, 5], [8, INF]).survival([4, 5, 6, 7, 8, 9])
    np.testing.assert_allclose(lower, [1, 1, 0, 0, 0, 0], atol=1e-9)
    np.testing.assert_allclose(upper, [1, 1, 1, 1, 0, 0], atol=1e-9)


def test_intervals_that_only_touch_do_not_meet():
    fit = fit_npmle([0, 3], [3, 6])
    assert list(zip(fit.left, fit.right, strict=True)) == [(0, 3), (3, 6)]
    np.testing.assert_allclose(fit.mass, 0.5, atol=1e-9)


@pytest.mark.parametrize("n", range(2, 12))
def test_quantile_is_where_its_share_is_just_reached(n):
    fit = fit_npmle(np.arange(n), np.arange(n) + 1)
    shares = np.arange(1, n) / n
    assert [fit.quantile(p) for p in shares] == [(k, k + 1) for k in range(n - 1)]
    assert [fit.quantile(p + 0.01) for p in shares] == [(k + 1, k + 2) for k in range(n - 1)]


def test_nobody_resolved_leaves_everything_open():
    fit = fit_npmle([5, 5, 2], [INF, INF, INF])
    np.testing.assert_allclose(fit.survival([5, 6]), [[1, 0], [1, 1]], atol=1e-9)
    assert fit.quantile(0.5) == (5, INF)
    assert fit.log_likelihood == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("left", "right", "weight", "reason"),
    [
        ([], [], None, "not empty"),
        ([987, 987], [988], None, "same length"),
        ([987, np.nan], [988, 989], None, "missing"),
        ([987, 987], [988, np.nan], None, "missing"),
        ([987], [987], None, "left < right"),
        ([988], [987], None, "left < right"),
        ([INF], [INF], None, "left < right"),
        ([-987], [1], None, "0 <= left"),
        ([987], [988], [987, 987], "one weight"),
        ([987], [988], [np.nan], "finite"),
        ([987], [988], [INF], "finite"),
        ([987], [988], [-987], "not negative"),
        ([987], [988], [0], "positive"),
    ],
)
def test_what_is_no_interval_is_refused_without_naming_it(left, right, weight, reason):
    with pytest.raises(ValueError, match=reason) as refusal:
        fit_npmle(left, right, weight)
    assert "98" not in str(refusal.value)


@pytest.mark.parametrize("p", [0, 1, np.nan])
def test_quantile_needs_a_share(p):
    with pytest.raises(ValueError, match="between 0 and 1"):
        fit_npmle([0], [1]).quantile(p)


def test_fit_without_proof_is_never_returned(monkeypatch):
    left, right = follow(200, np.random.default_rng(5))
    monkeypatch.setattr(npmle_search, "ITERATIONS", 5)
    with pytest.raises(NotConverged):
        fit_npmle(left, right)
    with pytest.raises(NotConverged):
        fit_many(left, right, np.ones((3, len(left))), [7])


def test_many_fits_are_the_single_fits():
    rng = np.random.default_rng(6)
    left, right, index = collapse_intervals(*follow(300, rng))
    counts = np.bincount(index)
    # more than are solved together
    weights = rng.multinomial(counts.sum(), counts / counts.sum(), size=150)
    days = np.arange(60)
    many = fit_many(left, right, weights, days, p=0.4)
    for row, weight in enumerate(weights):
        single = fit_npmle(left[weight > 0], right[weight > 0], weight[weight > 0])
        np.testing.assert_allclose(
            (many.lower[row], many.upper[row]), single.survival(days), rtol=0, atol=1e-4
        )
        assert (many.quantile_left[row], many.quantile_right[row]) == single.quantile(0.4)


def test_weight_of_zero_takes_the_ends_of_an_interval_away():
    many = fit_many(
        [0, 2, 4, 0], [2, 4, 6, 6], [[0, 0, 0, 5], [1, 1, 1, 0], [0, 0, 0, 0]], [0, 2, 3, 6]
    )
    np.testing.assert_allclose(
        many.lower, [[1, 0, 0, 0], [1, 2 / 3, 1 / 3, 0], [np.nan] * 4], atol=1e-9
    )
    np.testing.assert_allclose(
        many.upper, [[1, 1, 1, 0], [1, 2 / 3, 2 / 3, 0], [np.nan] * 4], atol=1e-9
    )
    np.testing.assert_array_equal(many.quantile_left, [0, 2, np.nan])
    np.testing.assert_array_equal(many.quantile_right, [6, 4, np.nan])


@pytest.mark.parametrize("weights", [[1, 1], [[1]], [[1, np.nan]], [[1, -1]]])
def test_many_fits_need_a_weight_for_every_interval(weights):
    with pytest.raises(ValueError, match="weight"):
        fit_many([0, 1], [1, 2], weights, [1])


@pytest.mark.parametrize("left_out", [1, 40])
def test_fits_near_each_other_are_those_found_afresh(left_out):
    left, right, index = collapse_intervals(*follow(400, np.random.default_rng(left_out)))
    counts = np.bincount(index)
    parts = np.array(
        [np.bincount(index[k : k + left_out], minlength=len(counts)) for k in range(0, 400, 40)]
    )
    many = fit_many(left, right, counts - parts, DAYS)
    for row, weight in enumerate(counts - parts):
        afresh = fit_npmle(left[weight > 0], right[weight > 0], weight[weight > 0], tolerance=1e-12)
        np.testing.assert_allclose(
            (many.lower[row], many.upper[row]), afresh.survival(DAYS), rtol=0, atol=3e-6
        )


@pytest.mark.parametrize("mass", [[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.4, 0.3, 0.3]])
def test_a_start_that_is_not_near_changes_nothing(mass):
    weights, first, last = np.array([[1.0, 2.0, 3.0], [9.0, 0.0, 1.0]]), np.arange(3), np.arange(3)
    fitted = npmle_search.maximise_near(weights, first, last, np.array(mass), np.ones(3))
    np.testing.assert_allclose(
        fitted, weights / weights.sum(axis=1, keepdims=True), rtol=0, atol=1e-9
    )
