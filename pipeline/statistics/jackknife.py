"""Standard errors clustered by site.

Leave out one site at a time, refit everything, and see how far the answer moves.

The delete-one-cluster jackknife (CV3) with t quantiles of one degree of freedom less than sites
keeps its coverage with few clusters better than the sandwich: MacKinnon JG, Nielsen MO, Webb MD. J
Appl Econometrics 2023;38:671-694.
"""

from collections.abc import Callable

import numpy as np
from scipy.stats import t as student

from pipeline.statistics.guard import Refusal

RESTS_ON_ONE = Refusal("not_identified", "rests on one site: without it there is no answer")


def refit_without_each_site(
    sites: np.ndarray, fit: Callable[[np.ndarray], np.ndarray]
) -> np.ndarray:
    """Fit anew without each site.

    Parameters
    ----------
    sites
        The site of each row, (rows,).
    fit
        Takes a mask of the rows that stay and returns one answer per term, nan where it has none.

    Returns
    -------
    np.ndarray
        The answers in the order of the sites' names, (sites, terms).
    """
    sites = np.asarray(sites, dtype=str)
    return np.array([fit(sites != site) for site in np.unique(sites)])


def jackknife_covariance(full: np.ndarray, without: np.ndarray) -> np.ndarray:
    """Find the covariance of answers from those without each site.

    Parameters
    ----------
    full
        The answers of all, (terms,).
    without
        Those without each site, (sites, terms).

    Returns
    -------
    np.ndarray
        (terms, terms); nan where a refit has no answer.

    Notes
    -----
    (g - 1) / g times the sum over the g sites of (without - full) (without - full)': CV3 of
    MacKinnon JG, Nielsen MO, Webb MD. J Appl Econometrics 2023;38:671-694.
    """
    deviations = without - full
    return (len(without) - 1) / len(without) * deviations.T @ deviations


def limits(
    estimate: float, error: float, n_sites: float, coverage: float = 0.95
) -> tuple[float, float]:
    """Find limits by the t distribution with one degree of freedom less than sites.

    Parameters
    ----------
    estimate, error
        The number and its standard error, on a scale without ends.
    n_sites
        Number of sites, whole or not.
    coverage
        Probability with which the limits hold the number.

    Returns
    -------
    tuple of float
        Lower and upper limit.
    """
    reach = student.ppf(0.5 + coverage / 2, n_sites - 1) * error
    return estimate - reach, estimate + reach


def p_value(estimate: float, error: float, n_sites: float) -> float:
    """Find the two-sided p-value of no effect, by t with one degree of freedom less than sites.

    Parameters
    ----------
    estimate, error
        The number and its standard error, above 0.
    n_sites
        Number of sites, whole or not.

    Returns
    -------
    float
        The probability of an estimate as far from 0 or further.
    """
    return float(2 * student.sf(abs(estimate) / error, n_sites - 1))
