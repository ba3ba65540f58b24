"""Leaving out clusters: what each sample holds, and the errors and limits that follow."""

import numpy as np
import pytest

from pipeline.statistics.leave_out import leave_out_weights
from pipeline.statistics.share_limits import bound_share


def test_each_site_is_left_out_once():
    pattern, patient, site = np.array([0, 0, 1, 2, 2, 1]), np.arange(6), np.array(list("aabbcc"))
    weights, repeats = leave_out_weights(pattern, patient, site)
    np.testing.assert_array_equal(weights, [[0, 2, 2], [2, 1, 1], [2, 1, 1]])
    np.testing.assert_array_equal(repeats, [1, 1, 1])


def test_a_single_site_leaves_out_its_patients():
    pattern, patient = (
        np.array([0, 1, 0, 1, 1]),
        np.array([1, 1, 2, 2, 3]),
    )  # two patients with both patterns, one with one
    weights, repeats = leave_out_weights(pattern, patient, np.zeros(5))
    samples = {(tuple(row), n) for row, n in zip(weights.tolist(), repeats.tolist(), strict=True)}
    assert samples == {((1, 2), 2), ((2, 2), 1)}


def test_order_changes_nothing():
    rng = np.random.default_rng(1)
    pattern, patient, site = rng.integers(0, 5, 60), rng.integers(0, 30, 60), rng.integers(0, 4, 60)
    order = rng.permutation(60)
    np.testing.assert_array_equal(
        leave_out_weights(pattern, patient, site)[0],
        leave_out_weights(pattern[order], patient[order], site[order])[0],
    )


def test_error_of_a_mean_of_equal_sites_is_the_textbook_one():
    # the jackknife of a mean is s / sqrt(n): Efron B, Tibshirani R. 1993, chapter 11 (from memory)
    means = np.array([0.2, 0.5, 0.4, 0.7])
    without = ((means.sum() - means) / 3)[:, None]
    bounds = bound_share(
        np.array([means.mean()]), without, np.ones(4), np.full(4, 25), np.array([100.0])
    )
    assert bounds.error[0] == pytest.approx(means.std(ddof=1) / 2)
    assert 0 < bounds.low[0] < means.mean() < bounds.high[0] < 1


def test_sites_that_agree_by_luck_claim_no_certainty():
    bounds = bound_share(
        np.array([0.5]), np.full((2, 1), 0.5), np.ones(2), np.full(2, 50), np.array([100.0])
    )
    assert bounds.error[0] == 0
    assert bounds.high[0] - bounds.low[0] > 1.9 * 1.96 * np.sqrt(0.25 / 100)


def test_sites_of_unequal_size_count_as_fewer():
    without = np.array([[0.45], [0.5], [0.55], [0.5]])
    equal, unequal = (
        bound_share(np.array([0.5]), without, np.ones(4), sizes, np.array([200.0]))
        for sizes in (np.full(4, 50), np.array([170, 10, 10, 10]))
    )
    assert unequal.high[0] - unequal.low[0] > equal.high[0] - equal.low[0]
