"""Linear mixed model of repeated measurements: normal intercepts, and slopes if asked, of patients, and normal intercepts of their sites.

The restricted likelihood is profiled (Bates D, Machler M, Bolker B, Walker S. J Stat Softw 2015;67(1):1-48): coefficients and the variance
of a measurement follow from the standard deviations of the random effects, taken relative to it, so that the search runs over two or
four numbers and the coefficients always are the generalised least-squares solution. It needs sums of products per patient only.
Standard deviations have no sign: the likelihood is the same for both, and a minimum at zero is one like any other.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.optimize import minimize

from pipeline.models.guard import Refusal, check_solution

STARTS = (0.5, 2.0)  # relative standard deviations
NONE = 1e-3  # a relative standard deviation below it is none
SAME = 1e-4  # largest difference of log-likelihoods that are the same
UNDETERMINED = Refusal("not_identified", "the coefficients are not determined by the measurements")
CHORDS = 12  # steps from a near fit before the search begins anew
ARRIVED = 1e-9  # what one more step would change of minus twice the log-likelihood
STEP = 1e-4  # of differences; the curvature takes ten times as much


class Products(NamedTuple):
    """Sums of products: `own` (q, patients, q + terms + 2) of the q random effects' design with itself, the coefficients' design, the
    measurement and a one; `whole` (sites, terms + 2, terms + 2) of the last three; patients are in the order of sites, of which each begins
    and ends at two neighbours of `edges`."""

    own: np.ndarray
    whole: np.ndarray
    edges: np.ndarray
    n: int


@dataclass(frozen=True)
class LinearFit:
    """The fit: `coef` with its `covariance` by the model, (co)variances of patients' effects, of sites, of a measurement.

    `relative` are the standard deviations by which it was found, `curvature` the second derivative of minus twice the restricted log-likelihood
    by those that are not none, and `free` their places; `log_likelihood` is the restricted one."""

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
        """Whether patients' slopes do not vary beyond what their intercepts tell: then they are no part of the model."""
        return len(self.patient) == 2 and abs(self.relative[2]) < NONE


def sum_products(
    measured: np.ndarray, design: np.ndarray, effects: np.ndarray, patient: np.ndarray, site: np.ndarray
) -> Products:
    """The sums of measurements (rows,), design (rows, terms), effects (rows, 1 or 2), and labels; a patient belongs to one site.

    The order of rows changes nothing but the last digits; sort them for none. Raises ValueError for a patient of two sites.
    """
    sites, home_of_row = np.unique(site, return_inverse=True)
    _, first, who = np.unique(patient, return_index=True, return_inverse=True)
    if not np.array_equal(home_of_row[first][who], home_of_row):
        raise ValueError("a patient has rows of two sites")
    both = np.column_stack([design, measured, np.ones(len(measured))])
    order = np.argsort(home_of_row[first], kind="stable")
    place = np.argsort(order)[who]
    own = np.zeros((effects.shape[1], len(first), effects.shape[1] + both.shape[1]))
    for sums, effect in zip(own, effects.T, strict=True):
        np.add.at(sums, place, effect[:, None] * np.column_stack([effects, both]))
    whole = np.array([both[home_of_row == k].T @ both[home_of_row == k] for k in range(len(sites))])
    edges = np.searchsorted(home_of_row[first][order], np.arange(len(sites) + 1))
    return Products(own, whole, edges, len(measured))


def fit_linear_mixed(products: Products, *, sites: bool) -> LinearFit | Refusal:
    """The maximum of the restricted likelihood; `sites` says whether their intercepts vary. Two starts and two optimisers must agree."""
    if products.n <= products.whole.shape[1] - 2:
        return Refusal("too_few", "no more measurements than coefficients")
    q = len(products.own)
    shape = np.append(np.eye(q)[np.tril_indices(q)], [1.0] * sites)

    def value(at: np.ndarray) -> float:
        return _deviate(at, products, sites)[0]

    try:
        rough = minimize(value, STARTS[0] * shape, method="Nelder-Mead", options={"xatol": 1e-2, "fatol": SAME}).x
        found = [_descend(value, start) for start in (rough, STARTS[1] * shape)]
        if abs(value(found[0]) - value(found[1])) > 2 * SAME:
            return Refusal("not_converged", "two searches end at different places")
        return _check(min(found, key=value), products, sites)
    except np.linalg.LinAlgError:
        return UNDETERMINED


def refit_linear_mixed(products: Products, near: LinearFit, *, sites: bool) -> LinearFit | Refusal:
    """Fit again from a fit that is near, as that of all sites after leaving out one.

    Newton's steps with the curvature of the near fit need few evaluations; where they do not arrive, or a standard deviation that was none
    would grow, the search begins anew.
    """

    def value(at: np.ndarray) -> float:
        return _deviate(at, products, sites)[0]

    try:
        point = near.relative.copy()
        for _ in range(CHORDS):
            slope = _slope(value, point)[near.free]
            step = np.linalg.solve(near.curvature, slope)
            if slope @ step < ARRIVED and not _grows(value, point, near.free):
                return _finish(point, products, sites, near.curvature, near.free)
            point[near.free] -= step
        away = np.where(np.abs(near.relative) < NONE, 10 * NONE, near.relative)
        return _check(_descend(value, away), products, sites)
    except np.linalg.LinAlgError:
        return UNDETERMINED


def drop_site(products: Products, k: int) -> Products:
    """The sums without the k-th site."""
    begin, end = products.edges[k], products.edges[k + 1]
    edges = np.concatenate([products.edges[: k + 1], products.edges[k + 2 :] - (end - begin)])
    own = np.delete(products.own, np.s_[begin:end], axis=1)
    return Products(own, np.delete(products.whole, k, axis=0), edges, products.n - int(products.whole[k, -1, -1]))


def _deviate(relative: np.ndarray, products: Products, sites: bool) -> tuple[float, dict]:
    """Minus twice the restricted log-likelihood at relative standard deviations (a lower triangle by rows, then that of sites), and what
    else of a LinearFit follows from them."""
    q, p = len(products.own), products.whole.shape[1] - 2
    triangle = np.zeros((q, q))
    triangle[np.tril_indices(q)] = relative[: len(relative) - sites]
    whole, log_size = _absorb_patients(triangle, products)
    spread = relative[-1] ** 2 if sites else 0.0
    share = spread / (1 + spread * whole[:, -1, -1])
    log_size += np.log1p(spread * whole[:, -1, -1]).sum()
    total = (whole - share[:, None, None] * whole[:, :, [-1]] * whole[:, [-1], :]).sum(axis=0)
    bread = np.linalg.inv(total[:p, :p])
    coef = np.linalg.solve(total[:p, :p], total[:p, p])
    left = products.n - p
    variance = max(float(total[p, p] - total[:p, p] @ coef), np.finfo(float).tiny) / left
    deviance = log_size + np.linalg.slogdet(total[:p, :p])[1] + left * (1 + np.log(2 * np.pi * variance))
    patient = variance * triangle @ triangle.T
    parts = {"coef": coef, "covariance": variance * bread, "patient": patient, "site": variance * spread}
    return deviance, parts | {"residual": variance, "log_likelihood": -deviance / 2, "relative": np.asarray(relative)}


def _absorb_patients(triangle: np.ndarray, products: Products) -> tuple[np.ndarray, float]:
    """The products of sites with the patients' part of the inverse covariance between, and the logarithm of its determinant.

    Patients' effects are taken in one after the other; each changes the inverse by a matrix of rank one (Sherman J, Morrison WJ. Ann Math
    Stat 1950;21:124-127).
    """
    q, log_size, whole = len(triangle), 0.0, products.whole.copy()
    turned = np.tensordot(triangle.T, products.own, 1)
    turned[:, :, :q] = turned[:, :, :q] @ triangle
    for j, effect in enumerate(turned):
        size = 1 + effect[:, j]
        log_size += np.log(size).sum()
        part = effect[:, q:] / np.sqrt(size)[:, None]
        for k, (begin, end) in enumerate(zip(products.edges[:-1], products.edges[1:], strict=True)):
            whole[k] -= part[begin:end].T @ part[begin:end]
        for later in turned[j + 1 :]:
            later -= (later[:, j] / size)[:, None] * effect
    return whole, float(log_size)


def _descend(value: Callable[[np.ndarray], float], start: np.ndarray) -> np.ndarray:
    return minimize(value, start, jac=lambda point: _slope(value, point), method="BFGS", options={"gtol": 1e-4}).x


def _check(point: np.ndarray, products: Products, sites: bool) -> LinearFit | Refusal:
    """The fit at a point, after one more step by Newton's method, if it is a maximum. Standard deviations of none stay as they are: their
    gradient is zero there by symmetry."""

    def value(at: np.ndarray) -> float:
        return _deviate(at, products, sites)[0]

    free = np.flatnonzero(np.abs(point) >= NONE)
    if len(point) - sites == 3 and abs(point[2]) < NONE:
        free = free[(free != 1) | (abs(point[0]) >= NONE)]
    curvature = np.zeros((0, 0))
    if len(free):
        curvature = _bend(value, point)[np.ix_(free, free)]
        if np.linalg.eigvalsh(curvature)[0] > 0:
            polished = point.copy()
            polished[free] -= np.linalg.solve(curvature, _slope(value, point)[free])
            point = polished if value(polished) <= value(point) else point
        refusal = check_solution(-_slope(value, point)[free] / 2, curvature / 2)
        if refusal:
            return refusal
    return _finish(point, products, sites, curvature, free)


def _finish(point: np.ndarray, products: Products, sites: bool, curvature: np.ndarray, free: np.ndarray) -> LinearFit:
    return LinearFit(**_deviate(point, products, sites)[1], curvature=curvature, free=free)


def _grows(value: Callable[[np.ndarray], float], point: np.ndarray, free: np.ndarray) -> bool:
    """Whether a standard deviation that is none would make the fit better if it were not."""
    held = np.setdiff1d(np.arange(len(point)), free)
    return any(value(point + 10 * NONE * np.eye(len(point))[k]) < value(point) for k in held)


def _slope(value: Callable[[np.ndarray], float], point: np.ndarray) -> np.ndarray:
    return np.array([(value(point + shift) - value(point - shift)) / (2 * STEP) for shift in STEP * np.eye(len(point))])


def _bend(value: Callable[[np.ndarray], float], point: np.ndarray) -> np.ndarray:
    step = 10 * STEP
    rows = [
        (_slope(value, point + shift) - _slope(value, point - shift)) / (2 * step)
        for shift in step * np.eye(len(point))
    ]
    return (np.array(rows) + np.array(rows).T) / 2
