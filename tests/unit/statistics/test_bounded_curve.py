"""A curve with its least and its greatest share: exact times leave one share, gaps leave two."""

import numpy as np
import pandas as pd
import pytest

from pipeline.statistics.bounded_curve import bound_curve

DAYS = np.array([1.0, 3.0, 7.0, 30.0])


def examined(left: np.ndarray, right: np.ndarray, sites: int = 4) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "left_days": np.asarray(left, float),
            "right_days": np.asarray(right, float),
            "patient_id": [f"PT-{n}" for n in range(len(left))],
            "site": [f"S{n % sites}" for n in range(len(left))],
        }
    )


def test_times_within_a_day_leave_the_share_that_is_counted():
    end = np.repeat(np.arange(1, 21), 4)
    curve = bound_curve(examined(end - 1, end), DAYS)
    left = [(end > day).mean() for day in DAYS]
    assert curve.lower.share == pytest.approx(left)
    assert curve.upper.share == pytest.approx(left)


def test_a_gap_between_tests_parts_the_least_from_the_greatest_share():
    curve = bound_curve(examined([0] * 40, [10] * 40), DAYS)
    assert curve.lower.share == pytest.approx([0, 0, 0, 0], abs=1e-9)
    assert curve.upper.share == pytest.approx([1, 1, 1, 0], abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_limits_hold_their_shares_and_shares_fall(seed):
    rng = np.random.default_rng(seed)
    left = rng.integers(0, 20, 60)
    right = np.where(rng.random(60) < 0.2, np.inf, left + rng.integers(1, 8, 60))
    curve = bound_curve(examined(left, right), DAYS)
    for bounds in (curve.lower, curve.upper):
        assert (np.diff(bounds.share) <= 1e-9).all()
        assert (bounds.low <= bounds.share + 1e-9).all()
        assert (bounds.share <= bounds.high + 1e-9).all()
    assert (curve.lower.share <= curve.upper.share + 1e-9).all()


def test_the_order_of_rows_changes_nothing():
    rng = np.random.default_rng(5)
    rows = examined(rng.integers(0, 9, 40), rng.integers(10, 20, 40))
    one, other = bound_curve(rows, DAYS), bound_curve(rows.sample(frac=1, random_state=1), DAYS)
    assert one.lower.share == pytest.approx(other.lower.share)
    assert one.upper.high == pytest.approx(other.upper.high)
