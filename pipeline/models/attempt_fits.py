"""The attempt model fitted to all and without each site: coefficients of the marginal and of the random-intercept regression.

The marginal one is refitted without each site. For the other, leaving out a site is one Newton step from the common maximum,
theta + (I - I_s)^-1 (-g_s) with the site's own gradient g_s and information I_s: the linearised jackknife (for logistic regression
MacKinnon JG, Nielsen MO, Webb MD. arXiv 2406.00650, 2024, from memory).
"""

from dataclasses import dataclass

import numpy as np

from pipeline.models.attempt_rows import AttemptDesign
from pipeline.models.cloglog import Rows, check_maximum, climb_rows, find_flat
from pipeline.models.guard import Refusal
from pipeline.models.jackknife import jackknife_covariance, limits, refit_without_each_site
from pipeline.models.mixed import MixedFit, fit_mixed, score
from pipeline.models.quadrature import Groups, collapse_patients, keep_sites

GONE = 1e-8  # share of a coefficient's information below which nothing of it is left


@dataclass(frozen=True)
class Answers:
    """Coefficients (columns of the design) of all and without each site (sites, columns), nan where there is none.

    `sd` is the spread on which chances are averaged, of all and without each site: 0 in the marginal model; patients and sites together
    in the other, where `site_sd` is that of sites alone (nan if fixed).
    """

    coef: np.ndarray
    without: np.ndarray
    sd: float
    sd_without: np.ndarray
    site_sd: float = np.nan
    site_sd_without: np.ndarray | None = None


def fit_marginal(attempts: AttemptDesign) -> tuple[AttemptDesign, Answers] | Refusal:
    """The regression without random intercepts and its refits, with the design that is left of those that the data can tell apart."""
    rows, site = attempts.collapse()
    coef = fit_identified(rows, None, len(attempts.covariates))
    if isinstance(coef, Refusal):
        return coef
    known = ~np.isnan(coef)
    attempts = attempts.keep_columns(known, Refusal("not_identified", "separation: not told apart from other terms"))
    rows, coef = Rows(rows.design[:, known], *rows[1:]), coef[known]
    without = refit_without_each_site(site, lambda kept: refit_rows(rows.keep(kept), coef, len(attempts.covariates)))
    return attempts, Answers(coef, without, 0.0, np.zeros(len(without)))


def fit_identified(rows: Rows, start: np.ndarray | None, n_covariates: int) -> np.ndarray | Refusal:
    """Coefficients, of which the first `n_covariates` may be given up one after another where the likelihood is flat: those are nan."""
    answer, columns = np.full(rows.design.shape[1], np.nan), np.arange(rows.design.shape[1])
    while True:
        left = Rows(rows.design[:, columns], *rows[1:])
        found = climb_rows(left, None if start is None else start[columns])
        flat = find_flat(found.information, columns < n_covariates)
        if flat is None:
            break
        columns = np.delete(columns, flat)
    answer[columns] = found.point
    return check_maximum(found) or answer


def refit_rows(rows: Rows, start: np.ndarray, n_covariates: int) -> np.ndarray:
    """Coefficients of what is left: nan for a class that is gone, or whose members all have the event or all have none."""
    answer, columns = np.full(len(start), np.nan), np.arange(len(start))
    binary = np.isin(rows.design, [0, 1]).all(axis=0)
    while True:
        members = rows.design[:, columns] * binary[columns]
        events, failures = rows.events @ members, rows.failures @ members
        lost = binary[columns] & ((events == 0) | (failures == 0))
        if not lost.any():
            break
        rows = rows.keep(~members[:, lost].any(axis=1))
        columns = columns[~lost]
    left = Rows(rows.design[:, columns], *rows[1:])
    coef = fit_identified(left, start[columns], int((columns < n_covariates).sum()))
    if not isinstance(coef, Refusal):
        answer[columns] = coef
    return answer


def fit_random(attempts: AttemptDesign, marginal: Answers, points: int) -> tuple[Groups, MixedFit, Answers] | Refusal:
    """The regression with random intercepts, the patients it rests on, and its answers without each site."""
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
    return groups, fit, Answers(fit.coef, coef, spread_of_all, spread, *sites)


def leave_out_sites(groups: Groups, fit: MixedFit, points: int) -> np.ndarray:
    """Where one Newton step leads without each site, in the order of their numbers: (sites, length of the maximum's point)."""
    here, random_sites = fit.maximum, fit.site_sd is not None
    moved = []
    for site in np.unique(groups.site):
        _, gradient, information = score(here.point, keep_sites(groups, [site]), points, random_sites)
        left = here.information - information
        known = np.diag(left) > GONE * np.diag(here.information)
        step = np.full(len(here.point), np.nan)
        step[known] = np.linalg.lstsq(left[np.ix_(known, known)], (here.gradient - gradient)[known], rcond=None)[0]
        moved.append(here.point + step)
    return np.array(moved)


def limit_by_sites(estimate: float, without: np.ndarray) -> tuple[float, float, float]:
    """Standard error and limits by leaving out one site at a time."""
    error = float(np.sqrt(jackknife_covariance(np.array([estimate]), without[:, None])[0, 0]))
    return error, *limits(estimate, error, len(without))
