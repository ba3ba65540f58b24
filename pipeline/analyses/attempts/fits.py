"""The attempt model fitted to all and without each site: coefficients of the marginal and of the
random-intercept regression.

The marginal one is refitted without each site. For the other, leaving out a site is one Newton step
from the common maximum, theta + (I - I_s)^-1 (-g_s) with the site's own gradient g_s and
information I_s: the linearised jackknife (for logistic regression MacKinnon JG, Nielsen MO, Webb
MD. arXiv 2406.00650, 2024, from memory).
"""

from dataclasses import dataclass

import numpy as np

from pipeline.analyses.attempts.rows import AttemptDesign
from pipeline.statistics.cloglog import (
    Maximum,
    Rows,
    check_maximum,
    climb_rows,
    find_determined,
    fit_cloglog,
    is_flat,
)
from pipeline.statistics.guard import Refusal
from pipeline.statistics.jackknife import jackknife_covariance, limits, refit_without_each_site
from pipeline.statistics.mixed import MixedFit, fit_mixed, score
from pipeline.statistics.quadrature import Groups, collapse_patients, keep_sites

GONE = 1e-8  # share of a coefficient's information below which nothing of it is left


@dataclass(frozen=True)
class JackknifeFit:
    """A fit of all and without each site; nan where there is none.

    Attributes
    ----------
    coef
        Coefficients of all, (columns,).
    without
        Those without each site, in order of names, (sites, columns).
    sd
        Standard deviation of the log hazard over which probabilities are averaged: 0 in the
        marginal model; of patients and sites together in the other.
    sd_without
        That without each site, (sites,).
    site_sd
        Standard deviation of sites alone; nan where their effects are fixed.
    site_sd_without
        That without each site, (sites,).
    """

    coef: np.ndarray
    without: np.ndarray
    sd: float
    sd_without: np.ndarray
    site_sd: float = np.nan
    site_sd_without: np.ndarray | None = None


def fit_determined(attempts: AttemptDesign) -> tuple[AttemptDesign, Maximum | Refusal]:
    """Fit the regression without random intercepts on what the data can tell apart.

    Parameters
    ----------
    attempts
        The design.

    Returns
    -------
    tuple
        What is left of the design, and the maximum or why there is none.
    """
    if is_flat(climb_rows(attempts.collapse()[0]).information):
        attempts = attempts.keep_determined()
    return attempts, fit_cloglog(attempts.collapse()[0])


def fit_marginal(attempts: AttemptDesign) -> tuple[AttemptDesign, JackknifeFit] | Refusal:
    """The regression without random intercepts and its refits, with the design that it rests on."""
    attempts, fit = fit_determined(attempts)
    if isinstance(fit, Refusal):
        return fit
    rows, site = attempts.collapse()
    without = refit_without_each_site(
        site, lambda kept: refit_rows(rows.keep(kept), fit.point, attempts.n_covariates)
    )
    return attempts, JackknifeFit(fit.point, without, 0.0, np.zeros(len(without)))


def refit_rows(rows: Rows, start: np.ndarray, n_covariates: int) -> np.ndarray:
    """Fit anew what is left of the rows.

    Parameters
    ----------
    rows
        What is left.
    start
        Coefficients at which the search begins, (columns,).
    n_covariates
        Number of first columns that are given up first where a column follows from others.

    Returns
    -------
    np.ndarray
        Coefficients, (columns,): nan for a class that is gone, whose members all have the event or
        all have none, or that follows from the other terms; all nan where there is no maximum.
    """
    coef = np.full(len(start), np.nan)
    present = rows.design.any(axis=0)  # a search with a class that is gone never ends
    if not present.any():
        return coef
    maximum = climb_rows(Rows(rows.design[:, present], *rows[1:]), start[present])
    if not is_flat(maximum.information) and check_maximum(maximum) is None:
        coef[present] = maximum.point
        return coef
    stays, known = find_determined(rows, n_covariates)
    if not known.any():
        return coef
    fit = fit_cloglog(Rows(rows.design[:, known], *rows[1:]).keep(stays), start[known])
    if not isinstance(fit, Refusal):
        coef[known] = fit.point
    return coef


def fit_random(
    attempts: AttemptDesign, marginal: JackknifeFit, points: int
) -> tuple[Groups, MixedFit, JackknifeFit] | Refusal:
    """Fit the regression with random intercepts of patients, and of sites where they are many.

    Parameters
    ----------
    attempts
        The design on which the marginal regression rests.
    marginal
        The marginal fit, where the search begins.
    points
        Number of points of the quadrature.

    Returns
    -------
    tuple or Refusal
        The patients it rests on, the fit, and its answers without each site.
    """
    groups = collapse_patients(attempts.single, attempts.patient, attempts.site)
    fit = fit_mixed(groups, marginal.coef, points, random_sites=attempts.random_sites)
    if isinstance(fit, Refusal):
        return fit
    without = leave_out_sites(groups, fit, points)
    size = len(fit.coef)
    coef = np.where(np.isnan(marginal.without), np.nan, without[:, :size])
    spread = np.sqrt((without[:, size:] ** 2).sum(axis=1))
    spread_of_all = float(np.hypot(fit.patient_sd, fit.site_sd or 0.0))
    sites = () if fit.site_sd is None else (fit.site_sd, np.abs(without[:, size]))
    return groups, fit, JackknifeFit(fit.coef, coef, spread_of_all, spread, *sites)


def leave_out_sites(groups: Groups, fit: MixedFit, points: int) -> np.ndarray:
    """Find where one Newton step leads without each site.

    Parameters
    ----------
    groups
        Patients with their attempts.
    fit
        The fit of all.
    points
        Number of points of the quadrature.

    Returns
    -------
    np.ndarray
        In the order of the sites' numbers, (sites, length of the maximum's point): coefficients,
        then standard deviations; nan where nothing of a coefficient's information is left.

    Notes
    -----
    theta + (I - I_s)^-1 (g - g_s), where the common gradient g is next to 0: formula and source are
    those at the head of this file.
    """
    maximum, random_sites = fit.maximum, fit.site_sd is not None
    replicates = []
    for site in np.unique(groups.site):
        _, gradient, information = score(
            maximum.point, keep_sites(groups, [site]), points, random_sites
        )
        left = maximum.information - information
        known = np.diag(left) > GONE * np.diag(maximum.information)
        step = np.full(len(maximum.point), np.nan)
        step[known] = np.linalg.lstsq(
            left[np.ix_(known, known)], (maximum.gradient - gradient)[known], rcond=None
        )[0]
        replicates.append(maximum.point + step)
    return np.array(replicates)


def limit_by_sites(estimate: float, without: np.ndarray) -> tuple[float, float, float]:
    """Standard error and limits by leaving out one site at a time."""
    error = float(np.sqrt(jackknife_covariance(np.array([estimate]), without[:, None])[0, 0]))
    return error, *limits(estimate, error, len(without))
