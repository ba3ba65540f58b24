"""The linear mixed model: the likelihood and the coefficients of the whole covariance matrix,
and what has no answer."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from pipeline.statistics.guard import Refusal
from pipeline.statistics.linear_mixed import LinearFit, fit_linear_mixed, refit_linear_mixed
from pipeline.statistics.restricted_likelihood import (
    drop_site,
    reml_deviance,
    reml_gradient,
    sum_products,
)


def simulate(
    seed: int, *, patients: int = 40, sites: int = 4, slope_sd: float = 3.0, site_sd: float = 4.0
):
    """Measurements, design, effects, patients and sites: 2 to 5 measurements at times 0 to 3."""
    rng = np.random.default_rng(seed)
    who = np.repeat(np.arange(patients), rng.integers(2, 6, patients))
    site, time = who % sites, rng.integers(0, 4, len(who)).astype(float)
    level = rng.normal(0, 8, patients)[who] + rng.normal(0, site_sd, sites)[site]
    measured = (
        40
        + level
        + (rng.normal(0, slope_sd, patients)[who] - 5) * time
        + rng.normal(0, 5, len(who))
    )
    design = np.column_stack([np.ones(len(who)), time])
    return measured, design, design, who.astype(str), site.astype(str)


def build_covariance(fit: LinearFit, effects, who, site) -> np.ndarray:
    """The whole covariance matrix of the measurements."""
    same_patient, same_site = who[:, None] == who, site[:, None] == site
    return (
        (effects @ fit.patient @ effects.T) * same_patient
        + fit.site * same_site
        + fit.residual * np.eye(len(who))
    )


def restricted_log_likelihood(measured, design, covariance) -> tuple[float, np.ndarray]:
    """Harville DA. J Am Stat Assoc 1977;72:320-338, and the generalised least-squares solution,
    with whole matrices."""
    inverse = np.linalg.inv(covariance)
    information = design.T @ inverse @ design
    coef = np.linalg.solve(information, design.T @ inverse @ measured)
    left = measured - design @ coef
    sizes = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(information)[1]
    return -(
        sizes + left @ inverse @ left + (len(measured) - len(coef)) * np.log(2 * np.pi)
    ) / 2, coef


@settings(max_examples=8)
@given(st.integers(0, 10**6), st.booleans(), st.booleans())
def test_likelihood_and_coefficients_are_those_of_the_whole_matrix(seed, slopes, sites):
    measured, design, effects, who, site = simulate(seed, patients=20)
    effects = effects if slopes else effects[:, :1]
    fit = fit_linear_mixed(sum_products(measured, design, effects, who, site), sites=sites)
    if isinstance(fit, Refusal):
        assert fit.status in ("not_converged", "not_identified")
        return
    value, coef = restricted_log_likelihood(
        measured, design, build_covariance(fit, effects, who, site)
    )
    assert fit.log_likelihood == pytest.approx(value, abs=1e-6)
    np.testing.assert_allclose(fit.coef, coef, rtol=1e-7)


def test_no_other_variances_are_better():
    measured, design, effects, who, site = simulate(11, patients=16)
    fit = fit_linear_mixed(sum_products(measured, design, effects, who, site), sites=True)

    def lose(at: np.ndarray) -> float:
        triangle = np.array([[at[0], 0], [at[1], at[2]]])
        other = LinearFit(
            None, None, triangle @ triangle.T, at[3] ** 2, at[4] ** 2, 0, None, None, None
        )
        return -restricted_log_likelihood(
            measured, design, build_covariance(other, effects, who, site)
        )[0]

    optimum = minimize(
        lose,
        [5, 0, 2, 2, 4],
        method="Nelder-Mead",
        options={"maxiter": 1500, "fatol": 1e-7, "xatol": 1e-3},
    )
    assert -optimum.fun == pytest.approx(fit.log_likelihood, abs=1e-4)


def test_refit_is_the_fit():
    rows = simulate(12)
    products = sum_products(*rows)
    fit = fit_linear_mixed(products, sites=True)
    refit = refit_linear_mixed(products, replace(fit, relative=fit.relative * 1.3), sites=True)
    np.testing.assert_allclose(refit.coef, fit.coef, rtol=1e-6)
    assert refit.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-6)


@pytest.mark.parametrize("site_sd", [0.0, 4.0])
def test_a_refit_without_a_site_is_the_fit_of_the_others(site_sd):
    measured, design, effects, patient, site = simulate(5, site_sd=site_sd)
    products = sum_products(measured, design, effects, patient, site)
    fit = fit_linear_mixed(products, sites=True)
    for k, name in enumerate(np.unique(site)):
        stay = site != name
        others = sum_products(
            measured[stay], design[stay], effects[stay], patient[stay], site[stay]
        )
        dropped = drop_site(products, k)
        for one, other in zip(dropped, others, strict=True):
            np.testing.assert_allclose(one, other, rtol=1e-12)
        alone, refit = (
            fit_linear_mixed(others, sites=True),
            refit_linear_mixed(dropped, fit, sites=True),
        )
        np.testing.assert_allclose(refit.coef, alone.coef, rtol=1e-5)
        assert refit.log_likelihood == pytest.approx(alone.log_likelihood, abs=1e-5)


def test_slopes_that_do_not_vary_are_seen():
    fits = [
        fit_linear_mixed(sum_products(*simulate(seed, slope_sd=0.0)), sites=False)
        for seed in range(8)
    ]
    usable = [fit for fit in fits if isinstance(fit, LinearFit)]
    assert len(usable) >= 6
    assert any(fit.slope_is_none for fit in usable)
    assert not fit_linear_mixed(sum_products(*simulate(0, patients=200)), sites=False).slope_is_none


def test_sites_that_do_not_vary_have_no_variance_and_change_nothing():
    for seed in range(20):
        rows = simulate(seed, site_sd=0.0)
        fit = fit_linear_mixed(sum_products(*rows), sites=True)
        if isinstance(fit, LinearFit) and fit.site < 1e-4:
            np.testing.assert_allclose(
                fit.coef, fit_linear_mixed(sum_products(*rows), sites=False).coef, rtol=1e-4
            )
            return
    pytest.fail("no simulated set ended without a variance of sites")


def test_no_answer_where_the_design_does_not_determine_one():
    measured, design, effects, who, site = simulate(13)
    twice = np.column_stack([design, design[:, 1]])
    fit = fit_linear_mixed(sum_products(measured, twice, effects, who, site), sites=False)
    assert isinstance(fit, Refusal)
    too_small = fit_linear_mixed(
        sum_products(measured[:2], design[:2], effects[:2], who[:2], site[:2]), sites=False
    )
    assert too_small.status == "too_few"


def test_a_patient_belongs_to_one_site():
    measured, design, effects, who, site = simulate(14)
    with pytest.raises(ValueError, match="two sites"):
        sum_products(measured, design, effects, np.full(len(who), "one"), site)


@pytest.mark.parametrize("effects", [1, 2])
@pytest.mark.parametrize("sites", [True, False])
def test_gradient_is_that_of_differences(effects, sites):
    rng = np.random.default_rng(effects)
    n, patient = 90, np.repeat(np.arange(30), 3)
    time = rng.random(n)
    design = np.column_stack([np.ones(n), time, rng.random(n)])
    measured = 3 * rng.random(30)[patient] + time + rng.normal(size=n)
    products = sum_products(measured, design, design[:, :effects], patient, patient // 6)
    point = np.array([0.7, -0.3, 0.4, 0.6])[[0, 1, 2, 3][: 3 if effects == 2 else 1] + [3] * sites]
    shifts = 1e-5 * np.eye(len(point))
    expected = [
        (
            reml_deviance(point + shift, products, sites)[0]
            - reml_deviance(point - shift, products, sites)[0]
        )
        / 2e-5
        for shift in shifts
    ]
    np.testing.assert_allclose(
        reml_gradient(point, products, sites), expected, rtol=1e-6, atol=1e-6
    )
