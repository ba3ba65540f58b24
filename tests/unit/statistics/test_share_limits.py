"""Limits of shares of curves: exact where all is known, effective numbers as product-limit theory
has them, and coverage near none and all."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import binom, binomtest

from pipeline.statistics.bounded_curve import bound_curve, count_effective_days
from pipeline.statistics.npmle import fit_npmle
from pipeline.statistics.share_limits import ShareBounds, clopper_pearson, keep_falling, wilson

# Remission under 6-mercaptopurine in weeks, relapse or not: Freireich EJ et al. Blood
# 1963;21:699-716. The product-limit estimate and its Greenwood standard error: Klein JP,
# Moeschberger ML. Survival Analysis, example 4.1 (from memory).
WEEKS = np.array([6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35])
RELAPSE = np.arange(21) < 9
PRINTED = {
    6: (0.857, 0.0764),
    7: (0.807, 0.0869),
    10: (0.753, 0.0963),
    13: (0.690, 0.1068),
    23: (0.448, 0.1346),
}


def exact_times() -> tuple[np.ndarray, np.ndarray]:
    return np.where(RELAPSE, WEEKS - 1.0, WEEKS), np.where(RELAPSE, WEEKS, np.inf)


@pytest.mark.parametrize("week", PRINTED)
def test_effective_numbers_are_those_of_greenwood(week):
    left, right = exact_times()
    fit = fit_npmle(left, right)
    number = count_effective_days(fit, left, right, np.ones(21), np.array([week]))[1][0]
    share, error = PRINTED[week]
    assert fit.survival([week])[1][0] == pytest.approx(share, abs=5e-4)
    assert number == pytest.approx(share * (1 - share) / error**2, rel=0.01)


def test_at_shares_of_all_and_none_those_count_of_whom_it_is_known():
    left, right = exact_times()
    fit = fit_npmle(left, right)
    assert count_effective_days(fit, left, right, np.ones(21), np.array([5.0]))[1][
        0
    ] == pytest.approx(21)
    seen = np.array([0.0] * 10 + [7.0] * 2), np.array([1.0] * 10 + [np.inf] * 2)
    gone = np.array([0.0] * 10), np.array([1.0] * 10)
    assert count_effective_days(fit_npmle(*gone), *gone, np.ones(10), np.array([7.0]))[1][
        0
    ] == pytest.approx(10)
    number = count_effective_days(fit_npmle(*seen), *seen, np.ones(12), np.array([3.0]))[1][0]
    assert number == pytest.approx(12)  # all are known by then


@given(st.integers(1, 200), st.data())
def test_exact_limits_of_whole_numbers(total, data):
    events = data.draw(st.integers(0, total))
    reference = binomtest(events, total).proportion_ci(method="exact")
    assert np.allclose(
        clopper_pearson(events / total, total), (reference.low, reference.high), atol=1e-9
    )


@given(st.integers(1, 200), st.data())
def test_score_limits_of_whole_numbers(total, data):
    events = data.draw(st.integers(0, total))
    reference = binomtest(events, total).proportion_ci(method="wilson")
    assert np.allclose(wilson(events / total, total), (reference.low, reference.high), atol=1e-9)


def test_nothing_known_is_nothing_said():
    assert wilson(0.5, 0.0) == pytest.approx((0, 1))
    assert clopper_pearson(0.0, 0.0) == (0, 1)
    assert clopper_pearson(1.0, 0.0) == (0, 1)


@given(arrays(float, (3, 12), elements=st.floats(0, 1)))
def test_limits_that_fall_hold_the_share_and_are_no_wider(drawn):
    share = np.sort(drawn[0])[::-1]
    before = ShareBounds(
        share, np.zeros(12), np.minimum(share, drawn[1]), np.maximum(share, drawn[2])
    )
    after = keep_falling(before)
    assert (np.diff(after.low) <= 0).all()
    assert (np.diff(after.high) <= 0).all()
    assert (
        (before.low <= after.low)
        & (after.low <= share)
        & (share <= after.high)
        & (after.high <= before.high)
    ).all()


def draw(rng: np.random.Generator, jump: float, rate: float, spread: float) -> pd.DataFrame:
    """Nine sites of about ten that differ: an effect at once, then a slow course;
    tests near planned days, of which some are missed."""
    site = np.repeat(np.arange(9), rng.integers(5, 16, 9))
    n = len(site)
    threshold = rng.exponential(size=n) / np.exp(spread * rng.normal(size=9))[site]
    time = np.where(threshold < jump, 0.5, 0.5 + (threshold - jump) / rate)
    left, right, gone = np.zeros(n), np.full(n, np.inf), np.zeros(n, bool)
    for day in (1, 7, 14, 30, 60, 90):
        day = day + rng.integers(-2, 3, n) * (day > 2)
        gone |= rng.random(n) < 0.06
        seen = ~gone & np.isinf(right) & (rng.random(n) < 0.85)
        left, right = (
            np.where(seen & (time > day), day, left),
            np.where(seen & (time <= day), day, right),
        )
    keys = np.arange(n).astype(str)
    return pd.DataFrame(
        {"site": site.astype(str), "patient_id": keys, "left_days": left, "right_days": right}
    )


@pytest.mark.parametrize(
    ("jump", "rate", "spread"), [(2.5, 0.05, 0.4), (1.5, 0.05, 0.3), (0.04, 0.003, 0.3)]
)
def test_limits_hold_near_all_and_near_none_where_sites_differ(jump, rate, spread):
    days, pools = np.arange(31), 60
    nodes, weights = np.polynomial.hermite_e.hermegauss(41)
    truth = {
        day: 1
        - weights @ np.exp(-np.exp(spread * nodes) * (jump + rate * (day - 0.5))) / weights.sum()
        for day in (7, 14, 30)
    }
    covered = dict.fromkeys(truth, 0)
    for pool in range(pools):
        curve = bound_curve(draw(np.random.default_rng([5, pool]), jump, rate, spread), days)
        for day, share in truth.items():
            covered[day] += curve.upper.high[day] >= 1 - share >= curve.lower.low[day]
    assert min(covered.values()) >= binom.ppf(0.002, pools, 0.95)
