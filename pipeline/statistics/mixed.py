"""Complementary log-log regression with a normal random intercept of patients.

Where there are many sites, they have one too.

Estimated is, for a patient (and a site) like this one, how the log hazard of a row depends on its
covariates, and how much patients and sites differ beyond them: the standard deviations of their
intercepts. The log-likelihood is integrated by adaptive quadrature
(pipeline/statistics/quadrature.py): over patients with `points` points; over sites, if they are
random, with SITE_POINTS around the mode of each. A fit counts only if two starts agree, twice the
points leave the log-likelihood where it is, and the solution is a maximum.

A likelihood within patients, conditional on their number of events, would be wrong here: rows end
with the first event.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2

from pipeline.statistics.cloglog import Maximum, climb
from pipeline.statistics.guard import Refusal, check_solution
from pipeline.statistics.quadrature import Groups, derive, integrate_patients

SITE_POINTS, SITE_STEPS = 9, 3
COARSE_POINTS = 15  # to place the points of sites
STARTS = (0.4, 1.5)  # standard deviations of patients
SITE_START = 0.3
SAME = 1e-4  # largest difference of log-likelihoods that are the same
# a standard deviation below it is none: the likelihood of the next one differs by less than
# rounding
BOUNDARY = 0.02
# hazards of like patients differ by a factor of twenty thousand: the search ends here
GREATEST_SD = 5.0
CLOSE = 0.01  # of the root of twice the fall of the log-likelihood at its limits
ENOUGH = 1e-6  # of twice the rise that is left: where two starts are compared, and along a profile


@dataclass(frozen=True)
class MixedFit:
    """A fit with random intercepts.

    Attributes
    ----------
    coef
        Coefficients of the design, (terms,).
    patient_sd
        Standard deviation of patients' intercepts, on the log hazard.
    site_sd
        That of sites' intercepts; None where sites are not random.
    log_likelihood
        At the maximum.
    maximum
        The maximum itself: its point is coef, site_sd if any, patient_sd.
    """

    coef: np.ndarray
    patient_sd: float
    site_sd: float | None
    log_likelihood: float
    maximum: Maximum


def fit_mixed(
    groups: Groups, start: np.ndarray, points: int, *, random_sites: bool
) -> MixedFit | Refusal:
    """Fit the regression with random intercepts.

    Parameters
    ----------
    groups
        Distinct patients and their rows.
    start
        Coefficients of a fit without random intercepts, (terms,); the search begins there from
        each of STARTS.
    points
        Quadrature points of each patient.
    random_sites
        Whether sites have random intercepts too.

    Returns
    -------
    MixedFit | Refusal
        The fit, or why there is none: two starts end at different places, twice the points change
        the log-likelihood, or the solution is no maximum.
    """
    ends = [
        climb(
            lambda point: score(point, groups, points, random_sites),
            _begin(start, sd, random_sites),
            ENOUGH,
        )
        for sd in STARTS
    ]
    best = max(ends, key=lambda end: end.value)
    if not all(abs(end.value - best.value) < SAME for end in ends):
        return Refusal(
            "not_converged", "two starts of the random-intercept model end at different places"
        )
    maximum = climb(lambda point: score(point, groups, points, random_sites), best.point)
    refusal = check_solution(maximum.gradient, maximum.information)
    if refusal:
        return refusal
    if (
        abs(
            score(maximum.point, groups, 2 * points, random_sites, site_factor=2)[0] - maximum.value
        )
        > SAME
    ):
        return Refusal("not_converged", "twice the quadrature points change the log-likelihood")
    return _read_fit(maximum, random_sites)


def score(
    point: np.ndarray, groups: Groups, points: int, random_sites: bool, site_factor: int = 1
) -> tuple[float, np.ndarray, np.ndarray]:
    """Find log-likelihood, gradient and information at a point.

    Parameters
    ----------
    point
        coef, site_sd if sites are random, patient_sd.
    groups
        Distinct patients and their rows.
    points
        Quadrature points of each patient.
    random_sites
        Whether sites have random intercepts too.
    site_factor
        Times SITE_POINTS there are points of each site.

    Returns
    -------
    tuple
        The log-likelihood, its gradient (parameters,) and its negative second derivative
        (parameters, parameters).
    """
    if random_sites:
        return _score_sites(point, groups, points, SITE_POINTS * site_factor)
    moments = integrate_patients(
        groups.rows.offset + groups.rows.design @ point[:-1], point[-1], groups, points
    )
    value = float(groups.weight @ moments.log_integral)
    return value, *derive(moments, groups.rows.design, groups.weight, groups)


def profile_sd(groups: Groups, fit: MixedFit, points: int, sd: float) -> Maximum:
    """Find the maximum with patient_sd held.

    It starts where a parabola would have it.

    Parameters
    ----------
    groups
        Distinct patients and their rows.
    fit
        The fit of all parameters.
    points
        Quadrature points of each patient.
    sd
        The value at which patient_sd is held.

    Returns
    -------
    Maximum
        Its point is coef, then site_sd if any.
    """
    random_sites, information = fit.site_sd is not None, fit.maximum.information

    def score_at_sd(others: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        value, gradient, information = score(np.append(others, sd), groups, points, random_sites)
        return value, gradient[:-1], information[:-1, :-1]

    slope = -np.linalg.solve(information[:-1, :-1], information[:-1, -1])
    return climb(
        score_at_sd, fit.maximum.point[:-1] + slope * np.clip(sd - fit.patient_sd, -1, 1), ENOUGH
    )


def limit_sd(
    groups: Groups, fit: MixedFit, points: int, coverage: float = 0.95
) -> tuple[float, float, dict]:
    """Find profile-likelihood limits of patient_sd.

    Parameters
    ----------
    groups
        Distinct patients and their rows.
    fit
        The fit of all parameters.
    points
        Quadrature points of each patient.
    coverage
        Probability with which the limits hold the standard deviation.

    Returns
    -------
    tuple
        The lower limit, 0 where the data do not exclude it; the upper one, inf where the
        likelihood has not fallen enough at GREATEST_SD; and the profile: how far the
        log-likelihood falls at each value that was tried.

    Notes
    -----
    A limit is where the root of twice the fall reaches the root of the `coverage` quantile of
    chi-squared with one degree of freedom.
    """
    reach = np.sqrt(chi2.ppf(coverage, 1))
    fallen = {fit.patient_sd: 0.0}

    def excess(sd: float) -> float:
        if sd not in fallen:
            fallen[sd] = max(fit.log_likelihood - profile_sd(groups, fit, points, sd).value, 0.0)
        over = float(np.sqrt(2 * fallen[sd]) - reach)
        return over if abs(over) > CLOSE else 0.0

    middle, error = fit.patient_sd, np.sqrt(np.linalg.inv(fit.maximum.information)[-1, -1])
    lower, low_start = 0.0, max(middle - 3 * error, 0.0)
    if excess(0.0) > 0:
        lower = brentq(excess, low_start if excess(low_start) > 0 else 0.0, middle)
    high_start = min(middle + max(3 * error, 0.3), GREATEST_SD)
    while excess(high_start) < 0 and high_start < GREATEST_SD:
        high_start = min(1.5 * high_start, GREATEST_SD)
    upper = brentq(excess, middle, high_start) if excess(high_start) >= 0 else np.inf
    return float(lower), float(upper), dict(sorted(fallen.items()))


def _score_sites(
    point: np.ndarray, groups: Groups, points: int, site_points: int
) -> tuple[float, np.ndarray, np.ndarray]:
    """As `score`, over random sites as well.

    At each of their points the site's z is one more column of the design.
    """
    coef, site_sd, sd = point[:-2], point[-2], point[-1]
    linear = groups.rows.offset + groups.rows.design @ coef
    home = groups.site[groups.patient]
    starts = np.flatnonzero(np.diff(groups.site, prepend=-1))
    row_starts = groups.first[starts]
    home = np.searchsorted(groups.site[starts], home)
    owner = home[groups.first]
    centre, scale = _find_site_modes(linear, site_sd, sd, groups, home, starts)
    x, w = np.polynomial.hermite.hermgauss(site_points)
    nodes = centre[:, None] + np.sqrt(2) * scale[:, None] * x
    at_points, heights = [], np.empty_like(nodes)
    for k in range(site_points):
        moments = integrate_patients(linear + site_sd * nodes[home, k], sd, groups, points)
        heights[:, k] = np.add.reduceat(groups.weight * moments.log_integral, starts)
        at_points.append(moments)
    heights += np.log(w) + x**2 + np.log(scale / np.sqrt(np.pi))[:, None] - nodes**2 / 2
    top = heights.max(axis=1, keepdims=True)
    share = np.exp(heights - top)
    total = share.sum(axis=1, keepdims=True)
    share /= total
    means, information = np.zeros((len(starts), len(point))), np.zeros((len(point), len(point)))
    for k, moments in enumerate(at_points):
        wide = np.column_stack([groups.rows.design, nodes[home, k]])
        information += derive(moments, wide, groups.weight * share[owner, k], groups)[1]
        by_row = wide * (groups.weight[groups.patient] * moments.by_row)[:, None]
        by_sd = np.add.reduceat(groups.weight * moments.by_sd, starts)
        slopes = np.column_stack([np.add.reduceat(by_row, row_starts), by_sd])
        means += share[:, [k]] * slopes
        information -= (slopes.T * share[:, k]) @ slopes
    return float((top + np.log(total)).sum()), means.sum(axis=0), information + means.T @ means


def _find_site_modes(
    linear: np.ndarray,
    site_sd: float,
    sd: float,
    groups: Groups,
    home: np.ndarray,
    starts: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Good places for points: near the mode of each site's integrand over its z.

    With them comes one over the root of its curvature.
    """
    z = np.zeros(len(starts))
    each, row_starts = groups.weight[groups.patient], groups.first[starts]
    for _ in range(SITE_STEPS):
        moments = integrate_patients(linear + site_sd * z[home], sd, groups, COARSE_POINTS)
        bend = each * moments.curvature
        for distance, (rows, mixed) in enumerate(moments.pairs, start=1):
            bend[rows] += 2 * each[rows + distance] * mixed
        curvature = 1 - site_sd**2 * np.add.reduceat(bend, row_starts)
        step = (site_sd * np.add.reduceat(each * moments.by_row, row_starts) - z) / np.maximum(
            curvature, 1
        )
        z = z + np.clip(step, -2, 2)
    return z, 1 / np.sqrt(np.maximum(curvature, 1))


def _begin(start: np.ndarray, sd: float, random_sites: bool) -> np.ndarray:
    return np.concatenate([start, [SITE_START] * random_sites, [sd]])


def _read_fit(maximum: Maximum, random_sites: bool) -> MixedFit:
    """Standard deviations have no sign: the likelihood is the same for both."""
    signs = np.ones(len(maximum.point))
    signs[-1 - random_sites :] = np.where(maximum.point[-1 - random_sites :] < 0, -1, 1)
    maximum = Maximum(
        maximum.point * signs,
        maximum.value,
        maximum.gradient * signs,
        maximum.information * np.outer(signs, signs),
    )
    site_sd = float(maximum.point[-2]) if random_sites else None
    coef = maximum.point[: -1 - random_sites]
    return MixedFit(coef, float(maximum.point[-1]), site_sd, maximum.value, maximum)
