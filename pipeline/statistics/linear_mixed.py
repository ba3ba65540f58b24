"""Linear mixed model of repeated measurements.

It has normal intercepts, and slopes if asked, of patients, and normal intercepts of their sites.

The restricted likelihood (REML) is profiled (Bates D, Machler M, Bolker B, Walker S. J Stat Softw
2015;67(1):1-48): coefficients and the variance of a measurement follow from the standard deviations
of the random effects, taken relative to it, so that the search runs over two or four numbers and
the coefficients always are the generalised least-squares solution. It needs sums of products per
patient only. Standard deviations have no sign: the likelihood is the same for both, and a minimum
at zero is one like any other.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from pipeline.statistics.guard import Refusal, check_solution
from pipeline.statistics.restricted_likelihood import (
    Products,
    reml_deviance,
    reml_gradient,
    reml_hessian,
)

STARTS = (0.5, 2.0)  # relative standard deviations
NONE = 1e-3  # a relative standard deviation below it is none
ROUGH = 1e-2  # of a relative standard deviation: where the first search hands over
SAME = 1e-4  # largest difference of log-likelihoods that are the same
UNDETERMINED = Refusal("not_identified", "the coefficients are not determined by the measurements")
CHORDS = 12  # steps from a fit nearby before the search begins anew
ARRIVED = 1e-9  # what one more step would change of minus twice the log-likelihood


@dataclass(frozen=True)
class LinearFit:
    """A fit.

    Attributes
    ----------
    coef, covariance
        Coefficients (terms,), and their covariance by the model (terms, terms).
    patient
        (Co)variances of patients' effects, (1, 1) or (2, 2).
    site
        Variance of sites' intercepts.
    residual
        Variance of a measurement.
    log_likelihood
        The restricted one.
    relative
        The standard deviations by which it was found, relative to that of a measurement.
    curvature
        The second derivative of minus twice the restricted log-likelihood by those of them that are
        not none.
    free
        The places of those.
    """

    coef: np.ndarray
    covariance: np.ndarray
    patient: np.ndarray
    site: float
    residual: float
    log_likelihood: float
    relative: np.ndarray
    curvature: np.ndarray
    free: np.ndarray

    @property
    def slope_is_none(self) -> bool:
        """Whether patients' slopes do not vary beyond what their intercepts tell.

        Then they are no part of the model.
        """
        return len(self.patient) == 2 and abs(self.relative[2]) < NONE


def fit_linear_mixed(products: Products, *, sites: bool) -> LinearFit | Refusal:
    """Fit the model by restricted maximum likelihood.

    Two starts and two optimisers must agree.

    Parameters
    ----------
    products
        Sums of products of measurements, design and effects.
    sites
        Whether the intercepts of sites vary.

    Returns
    -------
    LinearFit | Refusal
        The maximum, or why there is none.
    """
    if products.n <= products.site_products.shape[1] - 2:
        return Refusal("too_few", "no more measurements than coefficients")
    q = len(products.patient_products)
    shape = np.append(np.eye(q)[np.tril_indices(q)], [1.0] * sites)

    def value(at: np.ndarray) -> float:
        return reml_deviance(at, products, sites)[0]

    try:
        rough = minimize(
            value, STARTS[0] * shape, method="Nelder-Mead", options={"xatol": ROUGH, "fatol": 1}
        ).x
        optima = [_descend(start, products, sites) for start in (rough, STARTS[1] * shape)]
        if abs(value(optima[0]) - value(optima[1])) > 2 * SAME:
            return Refusal("not_converged", "two searches end at different places")
        return _check(min(optima, key=value), products, sites)
    except np.linalg.LinAlgError:
        return UNDETERMINED


def refit_linear_mixed(products: Products, start: LinearFit, *, sites: bool) -> LinearFit | Refusal:
    """Fit again from a fit nearby, as that of all sites after leaving out one.

    Newton's steps with the curvature of `start` need few evaluations; where they do not arrive, or
    a standard deviation that was none would grow, the search begins anew.

    Parameters
    ----------
    products
        Sums of products of measurements, design and effects.
    start
        The fit nearby.
    sites
        Whether the intercepts of sites vary.

    Returns
    -------
    LinearFit | Refusal
        The maximum, or why there is none.
    """

    def value(at: np.ndarray) -> float:
        return reml_deviance(at, products, sites)[0]

    try:
        point = start.relative.copy()
        for _ in range(CHORDS):
            gradient = reml_gradient(point, products, sites)[start.free]
            step = np.linalg.solve(start.curvature, gradient)
            if gradient @ step < ARRIVED and not _grows(value, point, start.free):
                return _finish(point, products, sites, start.curvature, start.free)
            point[start.free] -= step
        away = np.where(np.abs(start.relative) < NONE, 10 * NONE, start.relative)
        return _check(_descend(away, products, sites), products, sites)
    except np.linalg.LinAlgError:
        return UNDETERMINED


def _descend(start: np.ndarray, products: Products, sites: bool) -> np.ndarray:
    def judge(point: np.ndarray) -> tuple[float, np.ndarray]:
        return reml_deviance(point, products, sites)[0], reml_gradient(point, products, sites)

    return minimize(judge, start, jac=True, method="BFGS", options={"gtol": 1e-4}).x


def _check(point: np.ndarray, products: Products, sites: bool) -> LinearFit | Refusal:
    """The fit at a point, after one more step by Newton's method, if it is a maximum.

    Standard deviations of none stay as they are: their gradient is zero there by symmetry.
    """

    def value(at: np.ndarray) -> float:
        return reml_deviance(at, products, sites)[0]

    free = np.flatnonzero(np.abs(point) >= NONE)
    if len(point) - sites == 3 and abs(point[2]) < NONE:
        free = free[(free != 1) | (abs(point[0]) >= NONE)]
    curvature = np.zeros((0, 0))
    if len(free):
        curvature = reml_hessian(point, products, sites)[np.ix_(free, free)]
        if np.linalg.eigvalsh(curvature)[0] > 0:
            polished = point.copy()
            polished[free] -= np.linalg.solve(
                curvature, reml_gradient(point, products, sites)[free]
            )
            point = polished if value(polished) <= value(point) else point
        refusal = check_solution(-reml_gradient(point, products, sites)[free] / 2, curvature / 2)
        if refusal:
            return refusal
    return _finish(point, products, sites, curvature, free)


def _finish(
    point: np.ndarray, products: Products, sites: bool, curvature: np.ndarray, free: np.ndarray
) -> LinearFit:
    return LinearFit(**reml_deviance(point, products, sites)[1], curvature=curvature, free=free)


def _grows(value: Callable[[np.ndarray], float], point: np.ndarray, free: np.ndarray) -> bool:
    """Whether a standard deviation that is none would make the fit better if it were not."""
    at_zero = np.setdiff1d(np.arange(len(point)), free)
    return any(value(point + 10 * NONE * np.eye(len(point))[k]) < value(point) for k in at_zero)
