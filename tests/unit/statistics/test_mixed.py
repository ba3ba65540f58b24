"""Random intercepts: the integral by brute force, derivatives, planted spread, its profile,
boundary and refusals."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi2, norm

from pipeline.analyses.attempts.fits import leave_out_sites
from pipeline.statistics.cloglog import Rows, climb, fit_cloglog
from pipeline.statistics.guard import Refusal
from pipeline.statistics.mixed import fit_mixed, limit_sd, profile_sd, score
from pipeline.statistics.quadrature import collapse_patients, integrate_patients, keep_sites


def simulate(
    n: int,
    seed: int,
    *,
    sd: float = 0.9,
    sites: int = 4,
    site_sd: float = 0.0,
    longest: int = 4,
    stop: bool = True,
):
    """Single rows, patient and site; columns are x, a trend over attempts, and an intercept.

    Rows end with the first event.
    """
    rng = np.random.default_rng(seed)
    site = rng.integers(sites, size=n)
    person = (
        rng.normal(0, sd, n) + rng.normal(0, site_sd, sites)[site]
        if site_sd
        else rng.normal(0, sd, n)
    )
    x, going, parts = rng.integers(0, 2, n).astype(float), np.ones(n, dtype=bool), []
    for k in range(longest):
        design = np.column_stack([x, np.full(n, float(k)), np.ones(n)])
        event = rng.random(n) < -np.expm1(-np.exp(design @ [0.5, -0.2, -1.0] + person))
        parts.append((design[going], event[going], np.flatnonzero(going), site[going]))
        going = going & ~event if stop else going
    design, event, patient, site = (np.concatenate(part) for part in zip(*parts, strict=True))
    return Rows(design, np.zeros(len(event)), event.astype(float), 1.0 - event), patient, site


@pytest.fixture(scope="module")
def pool():
    rows, patient, site = simulate(600, seed=1)
    return rows, collapse_patients(rows, patient, site), patient, site


def _log_integral_by_brute_force(rows: Rows, coef: np.ndarray, sd: float) -> float:
    linear = rows.offset + rows.design @ coef

    def joint(z: float) -> float:
        hazard = np.exp(linear + sd * z)
        return norm.pdf(z) * np.prod(
            np.where(rows.events == 1, -np.expm1(-hazard), np.exp(-hazard))
        )

    return float(np.log(quad(joint, -12, 12, epsabs=1e-14, epsrel=1e-12, limit=400)[0]))


@pytest.mark.parametrize(("sd", "close"), [(0.0, 1e-9), (0.5, 1e-9), (1.0, 1e-7), (2.0, 1e-5)])
def test_integral_is_that_of_brute_force(pool, sd, close):
    rows, _, patient, site = pool
    coef, some = np.array([0.4, -0.3, -0.8]), patient < 12
    groups = collapse_patients(rows.keep(some), patient[some], site[some])
    value = score(np.append(coef, sd), groups, 31, random_sites=False)[0]
    expected = sum(
        _log_integral_by_brute_force(rows.keep(patient == each), coef, sd) for each in range(12)
    )
    assert value == pytest.approx(expected, abs=close)


def test_integral_over_sites_is_that_of_a_fixed_grid():
    rows, patient, site = simulate(60, seed=2, sites=6, site_sd=0.6)
    coef, site_sd, sd = np.array([0.4, -0.3, -0.8]), 0.7, 0.6
    groups = collapse_patients(rows, patient, site)
    x, w = np.polynomial.hermite_e.hermegauss(80)
    heights = np.zeros((6, 80))
    for k, node in enumerate(x):
        moments = integrate_patients(rows_linear(groups, coef) + site_sd * node, sd, groups, 31)
        heights[:, k] = np.bincount(
            groups.site, weights=groups.weight * moments.log_integral, minlength=6
        )
    expected = np.log(np.exp(heights) @ (w / w.sum())).sum()
    value = score(np.array([*coef, site_sd, sd]), groups, 31, random_sites=True)[0]
    assert value == pytest.approx(expected, abs=1e-4)


def rows_linear(groups, coef: np.ndarray) -> np.ndarray:
    """Log hazards at z = 0."""
    return groups.rows.offset + groups.rows.design @ coef


@pytest.mark.parametrize(("random_sites", "close"), [(False, 1e-5), (True, 1e-3)])
def test_derivatives_are_those_of_the_log_likelihood(random_sites, close):
    rows, patient, site = simulate(400, seed=3, sites=6, site_sd=0.4)
    groups = collapse_patients(rows, patient, site)
    point = np.array([0.3, -0.1, -0.7, *[0.5] * random_sites, 0.8])
    _, gradient, information = score(point, groups, 31, random_sites)
    sides = [
        (score(point + h, groups, 31, random_sites), score(point - h, groups, 31, random_sites))
        for h in 1e-4 * np.eye(len(point))
    ]
    slopes = [(up[0] - down[0]) / 2e-4 for up, down in sides]
    bends = [(up[1] - down[1]) / 2e-4 for up, down in sides]
    np.testing.assert_allclose(gradient, slopes, rtol=0, atol=close * np.abs(gradient).max())
    np.testing.assert_allclose(
        information, -np.array(bends), rtol=0, atol=close * np.abs(information).max()
    )


def test_collapsed_patients_have_the_likelihood_of_single_ones(pool):
    rows, groups, patient, site = pool
    assert len(groups.weight) < 100
    assert groups.weight.sum() == 600
    point = np.array([0.4, -0.3, -0.8, 0.9])
    parts = [
        score(
            point,
            collapse_patients(rows.keep(site == s), patient[site == s], site[site == s]),
            31,
            False,
        )
        for s in range(4)
    ]
    pooled = score(point, groups, 31, False)
    for sums, several in zip(pooled, zip(*parts, strict=True), strict=True):
        np.testing.assert_allclose(sums, sum(several), rtol=1e-10)
    np.testing.assert_allclose(
        pooled[1],
        sum(score(point, keep_sites(groups, [s]), 31, False)[1] for s in range(4)),
        rtol=1e-9,
    )


def test_order_of_rows_changes_nothing(pool):
    rows, groups, patient, site = pool
    order = np.random.default_rng(0).permutation(len(patient))
    again = collapse_patients(rows.keep(order), patient[order], site[order])
    point = np.array([0.4, -0.3, -0.8, 0.9])
    assert score(point, groups, 31, False)[0] == score(point, again, 31, False)[0]


def test_weights_are_patients_repeated(pool):
    rows, groups, patient, site = pool
    copies = [np.concatenate([part] * 3) for part in rows]
    threefold = collapse_patients(
        Rows(*copies), np.concatenate([patient, patient + 600, patient + 1200]), np.tile(site, 3)
    )
    start = fit_cloglog(rows).point
    one, three = (fit_mixed(each, start, 31, random_sites=False) for each in (groups, threefold))
    np.testing.assert_allclose(three.maximum.point, one.maximum.point, atol=1e-5)
    np.testing.assert_allclose(
        three.maximum.information, 3 * one.maximum.information, rtol=1e-4, atol=1e-2
    )


def test_planted_effects_and_spread_come_back():
    """Rows go on after an event, so that the spread is well determined."""
    points = []
    for seed in range(8):
        rows, patient, site = simulate(1500, seed, longest=5, stop=False)
        fit = fit_mixed(
            collapse_patients(rows, patient, 0 * site),
            fit_cloglog(rows).point,
            31,
            random_sites=False,
        )
        points.append(fit.maximum.point)
    mean, error = np.mean(points, axis=0), np.std(points, axis=0, ddof=1) / np.sqrt(len(points))
    assert (np.abs(mean - [0.5, -0.2, -1.0, 0.9]) < 4 * error).all()
    assert error[-1] < 0.03


def test_planted_spread_comes_back_where_rows_end_with_the_event():
    rows, patient, site = simulate(30_000, seed=11)
    fit = fit_mixed(
        collapse_patients(rows, patient, 0 * site), fit_cloglog(rows).point, 31, random_sites=False
    )
    error = np.sqrt(np.diag(np.linalg.inv(fit.maximum.information)))
    assert (np.abs(fit.maximum.point - [0.5, -0.2, -1.0, 0.9]) < 4 * error).all()
    # without random intercepts later attempts seem worse than they are, since the harder cases are
    # left
    assert fit_cloglog(rows).point[1] < -0.2 - 4 * error[1]


def test_spread_of_many_sites_comes_back():
    rows, patient, site = simulate(2400, seed=5, sites=40, site_sd=0.6, longest=3, stop=False)
    fit = fit_mixed(
        collapse_patients(rows, patient, site), fit_cloglog(rows).point, 15, random_sites=True
    )
    error = np.sqrt(np.linalg.inv(fit.maximum.information)[-2, -2])
    assert abs(fit.site_sd - 0.6) < 4 * error
    assert error < 0.12


def test_without_spread_the_fit_is_at_the_boundary():
    rows, patient, site = simulate(800, seed=2, sd=0.0, stop=False)
    groups = collapse_patients(rows, patient, 0 * site)
    fit = fit_mixed(groups, fit_cloglog(rows).point, 31, random_sites=False)
    lower, upper, fallen = limit_sd(groups, fit, 31)
    assert lower == 0
    assert 0 < upper < 0.6
    assert fallen[0.0] < 2


def test_limits_are_where_the_profile_has_fallen(pool):
    rows, patient, site = simulate(500, seed=7, longest=6, stop=False)
    groups = collapse_patients(rows, patient, 0 * site)
    fit = fit_mixed(groups, fit_cloglog(rows).point, 31, random_sites=False)
    lower, upper, _ = limit_sd(groups, fit, 31)
    assert 0 < lower < fit.patient_sd < upper
    for limit in (lower, upper):
        fall = fit.log_likelihood - profile_sd(groups, fit, 31, limit).value
        assert np.sqrt(2 * fall) == pytest.approx(np.sqrt(chi2.ppf(0.95, 1)), abs=0.02)


def test_too_few_points_are_refused():
    rows, patient, site = simulate(400, seed=8, sd=3.0, stop=False, longest=8)
    groups = collapse_patients(rows, patient, 0 * site)
    refused = fit_mixed(groups, fit_cloglog(rows).point, 2, random_sites=False)
    assert isinstance(refused, Refusal)
    assert refused.status == "not_converged"


def test_one_step_without_a_site_is_near_the_refit():
    rows, patient, site = simulate(2500, seed=9, sites=6, stop=False)
    groups = collapse_patients(rows, patient, site)
    fit = fit_mixed(groups, fit_cloglog(rows).point, 31, random_sites=False)
    quick = leave_out_sites(groups, fit, 31)
    for number in range(6):
        left = keep_sites(groups, [s for s in range(6) if s != number])
        exact = climb(
            lambda point, left=left: score(point, left, 31, False), fit.maximum.point
        ).point
        shift = np.abs(exact - fit.maximum.point).max()
        assert np.abs(quick[number] - exact).max() < 0.15 * shift
