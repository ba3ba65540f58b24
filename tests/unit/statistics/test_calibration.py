"""Calibrated weights: both groups have the mean of everybody, by weights as near to the given ones
as can be; another search finds the same."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from pipeline.statistics.calibration import PENALTY, calibrate


def draw(seed: int, n: int = 200, columns: int = 3) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Covariates of which the last is 0 or 1, weights, and who is in the first group, which hangs
    on the covariates."""
    rng = np.random.default_rng(seed)
    covariates = rng.standard_normal((n, columns))
    covariates[:, -1] = covariates[:, -1] > 0.5
    first = rng.random(n) < 1 / (1 + np.exp(-covariates @ np.linspace(0.8, -0.4, columns)))
    return covariates, rng.uniform(0.5, 2, n), first


def test_one_covariate_of_two_classes_is_post_stratification():
    """A closed form (Deville JC, Sarndal CE. J Am Stat Assoc 1992;87:376-382, from memory): each
    class gets its part of everybody, and within it the given weights are kept."""
    covariates, weight, first = draw(1, columns=1)
    calibrated = calibrate(covariates, weight, first)
    member = covariates[:, 0] == 1
    for group in (first, ~first):
        part = calibrated[group & member].sum() / calibrated[group].sum()
        assert part == pytest.approx(member.mean(), abs=PENALTY)
        for alike in (group & member, group & ~member):
            ratio = calibrated[alike] / weight[alike]
            np.testing.assert_allclose(ratio, ratio[0])


def test_another_search_finds_the_same_weights():
    """scipy's SLSQP on the weights themselves: least relative entropy under the equations."""
    covariates, weight, first = draw(2, n=60)
    calibrated = calibrate(covariates, weight, first)
    z, d = covariates[first], weight[first] / weight[first].sum()
    equations = [
        {"type": "eq", "fun": lambda w: w.sum() - 1},
        {"type": "eq", "fun": lambda w: w @ z - covariates.mean(axis=0)},
    ]
    found = minimize(
        lambda w: (w * np.log(w / d)).sum(),
        d,
        jac=lambda w: np.log(w / d) + 1,
        bounds=[(1e-9, 1)] * len(d),
        constraints=equations,
        method="SLSQP",
        options={"maxiter": 500, "ftol": 1e-12},
    )
    assert found.success
    np.testing.assert_allclose(calibrated[first] / first.sum(), found.x, atol=5e-4)


@settings(max_examples=30)
@given(st.integers(0, 10_000))
def test_both_groups_have_the_mean_of_everybody(seed):
    covariates, weight, first = draw(seed)
    calibrated = calibrate(covariates, weight, first)
    assert (calibrated > 0).all()
    for group in (first, ~first):
        mean = np.average(covariates[group], axis=0, weights=calibrated[group])
        off = (mean - covariates.mean(axis=0)) / covariates.std(axis=0)
        assert np.abs(off).max() < 0.01
        assert calibrated[group].sum() == pytest.approx(group.sum())


def test_weights_that_do_it_already_stay():
    covariates = np.array([[0.0], [1.0], [0.0], [1.0]])
    first = np.array([True, True, False, False])
    np.testing.assert_allclose(calibrate(covariates, np.ones(4), first), np.ones(4))


def test_a_column_that_is_the_same_for_everybody_says_nothing():
    covariates, weight, first = draw(3)
    with_constant = np.column_stack([covariates, np.full(len(first), 7.0)])
    np.testing.assert_array_equal(
        calibrate(with_constant, weight, first), calibrate(covariates, weight, first)
    )


def test_groups_that_share_nothing_get_weights_that_are_finite():
    """No weights make them alike: what is told of it is left to the guards on effective numbers."""
    covariates = np.array([[0.0], [0.1], [1.0], [1.1]])
    first = np.array([True, True, False, False])
    calibrated = calibrate(covariates, np.ones(4), first)
    assert np.isfinite(calibrated).all()
    assert calibrated[1] > calibrated[0]


def test_a_difference_is_right_where_the_outcome_is_linear_though_the_weights_are_wrong():
    """Doubly robust: given weights of 1 know nothing of why the groups differ."""
    covariates, _, first = draw(4, n=4_000)
    outcome = covariates @ np.array([1.0, 2.0, -1.0]) + 0.5 * first
    weight = calibrate(covariates, np.ones(len(first)), first)
    naive, calibrated = (
        np.average(outcome[first], weights=w[first])
        - np.average(outcome[~first], weights=w[~first])
        for w in (np.ones(len(first)), weight)
    )
    assert abs(naive - 0.5) > 0.2
    assert calibrated == pytest.approx(0.5, abs=0.01)
