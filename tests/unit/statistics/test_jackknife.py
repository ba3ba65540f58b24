"""The jackknife over sites: known answers where there are some."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.jackknife import (
    jackknife_covariance,
    limits,
    p_value,
    refit_without_each_site,
)


def test_one_value_a_site_gives_the_textbook_error_of_a_mean():
    # the jackknife standard error of a mean is s / sqrt(n): Efron B, Tibshirani RJ. An Introduction
    # to the Bootstrap, 1993, chapter 11
    values = np.array([3.1, 4.7, 2.2, 9.0, 5.5, 4.1])
    sites = np.array([f"S{n}" for n in range(6)])
    without = refit_without_each_site(sites, lambda stay: np.array([values[stay].mean()]))
    assert jackknife_covariance(np.array([values.mean()]), without)[0, 0] == pytest.approx(
        values.var(ddof=1) / 6
    )


def test_matches_the_leave_one_out_formula_of_least_squares():
    # CV3 in closed form: residuals of each cluster times (I - H_gg)^-1; MacKinnon JG, Nielsen MO,
    # Webb MD. J Appl Econometrics 2023
    rng = np.random.default_rng(5)
    sites = np.repeat([f"S{n}" for n in range(7)], [3, 8, 5, 9, 4, 6, 5])
    x = np.column_stack([np.ones(40), rng.normal(size=40)])
    y = (
        x @ [1, 2]
        + rng.normal(size=7)[np.unique(sites, return_inverse=True)[1]]
        + rng.normal(size=40)
    )

    def fit(stay):
        return np.linalg.lstsq(x[stay], y[stay], rcond=None)[0]

    full, inverse = fit(np.full(40, True)), np.linalg.inv(x.T @ x)
    meat = np.zeros((2, 2))
    for site in np.unique(sites):
        xg, left = x[sites == site], y[sites == site] - x[sites == site] @ full
        score = xg.T @ np.linalg.solve(np.eye(len(xg)) - xg @ inverse @ xg.T, left)
        meat += np.outer(score, score)
    assert jackknife_covariance(full, refit_without_each_site(sites, fit)) == pytest.approx(
        6 / 7 * inverse @ meat @ inverse
    )


@given(st.permutations(range(30)))
def test_order_of_rows_changes_nothing(order):
    sites, values = np.array([f"S{n % 5}" for n in range(30)]), np.arange(30.0) ** 1.5

    def spread(sites, values):
        return jackknife_covariance(
            np.array([np.median(values)]),
            refit_without_each_site(sites, lambda stay: np.array([np.median(values[stay])])),
        )

    assert spread(sites[order], values[order]) == pytest.approx(spread(sites, values))


def test_limits_by_student():
    # t quantile .975 with 9 degrees of freedom is 2.262 (any table)
    assert limits(1.0, 0.5, 10) == pytest.approx((1 - 0.5 * 2.262, 1 + 0.5 * 2.262), abs=1e-3)
    assert p_value(0.5 * 2.262, 0.5, 10) == pytest.approx(0.05, abs=1e-4)


def test_a_refit_without_answer_leaves_no_error():
    assert np.isnan(jackknife_covariance(np.array([1.0]), np.array([[1.0], [np.nan], [2.0]]))).all()
