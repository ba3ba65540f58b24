"""Differences between sites in a probability that is seen once.

There is a fixed effect for each site, or effects are drawn from a normal distribution.

Of episode i of site s, P(event) = 1 - exp(-exp(x_i b + u_s)), the complementary log-log model: with
the logarithm of the time to the test among x it is a Weibull time of which only one test is known.
With random sites u_s ~ normal(0, sigma2); the integral over u_s is by adaptive Gauss-Hermite
quadrature around the mode of each site (Pinheiro JC, Bates DM. J Comput Graph Stat 1995;4:12-35).
sigma2 is by maximum likelihood, which with few sites comes out too small; the two-stage pool beside
it uses restricted likelihood.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from pipeline.statistics.cloglog import Rows, find_distinct, fit_cloglog, score_hazard, take_hazard
from pipeline.statistics.guard import Refusal, check_solution

POINTS = 25
STEPS = 100
# standard error of a log hazard whose limits reach from a probability of none to all: the
# likelihood is flat far out
WIDEST = 5.0
START = 0.5  # standard deviation between sites from which the search begins
DIFFERENCE = 1e-5


@dataclass(frozen=True)
class SiteFit:
    """A fit.

    Attributes
    ----------
    coefficients, covariance
        Coefficients of the design (terms,) and their covariance (terms, terms).
    sigma2
        Variance between sites; zero if they are fixed.
    log_likelihood
        Its maximum.
    """

    coefficients: np.ndarray
    covariance: np.ndarray
    sigma2: float
    log_likelihood: float


def fit_fixed(design: np.ndarray, happened: np.ndarray) -> SiteFit | Refusal:
    """Fit the complementary log-log regression of an event on a design.

    Parameters
    ----------
    design
        Covariates, (episodes, terms).
    happened
        Whether each had the event, boolean.

    Returns
    -------
    SiteFit | Refusal
        The fit, or why there is none: separation among the reasons.
    """
    maximum = fit_cloglog(
        Rows(design, np.zeros(len(design)), happened.astype(float), (~happened).astype(float))
    )
    if isinstance(maximum, Refusal):
        return maximum
    if np.sqrt(np.diag(np.linalg.inv(maximum.information))).max() > WIDEST:
        return Refusal(
            "not_identified", "separation: some combination of classes has no event, or only events"
        )
    return SiteFit(maximum.point, np.linalg.inv(maximum.information), 0.0, maximum.value)


def fit_random(design: np.ndarray, happened: np.ndarray, site: np.ndarray) -> SiteFit | Refusal:
    """Fit the same with a random intercept for each site.

    Parameters
    ----------
    design
        Covariates, (episodes, terms), with a column of ones or its like.
    happened
        Whether each had the event, boolean.
    site
        The site of each episode.

    Returns
    -------
    SiteFit | Refusal
        The fit, or why there is none. The covariance is of the coefficients; where the likelihood
        falls as sigma2 leaves zero, the fit is that of `fit_fixed`.
    """
    pooled = fit_fixed(design, happened)
    if isinstance(pooled, Refusal):
        return pooled
    rows, codes = _collapse(design, happened, np.unique(site, return_inverse=True)[1])
    _, first, second = _derive(rows.design @ pooled.coefficients, rows)
    if (
        np.bincount(codes, first) ** 2 + np.bincount(codes, second)
    ).sum() <= 0:  # the likelihood falls as sigma2 leaves zero
        return pooled
    nodes = np.polynomial.hermite_e.hermegauss(POINTS)

    def lose(parameters: np.ndarray) -> tuple[float, np.ndarray]:
        value, gradient = _integrate(parameters, rows, codes, nodes)
        return -value, -gradient

    start = np.append(pooled.coefficients, np.log(START))
    optimum = minimize(
        lose, start, jac=True, method="BFGS", options={"gtol": 1e-7, "maxiter": 500}
    ).x
    information = _differentiate(lambda at: lose(at)[1], optimum)
    value, gradient = lose(optimum)
    refusal = check_solution(-gradient, information)
    if refusal:
        return refusal
    return SiteFit(
        optimum[:-1], np.linalg.inv(information)[:-1, :-1], float(np.exp(2 * optimum[-1])), -value
    )


def _collapse(
    design: np.ndarray, happened: np.ndarray, codes: np.ndarray
) -> tuple[Rows, np.ndarray]:
    """Equal rows of a site counted together, in the order of the sites, and the site of each."""
    distinct, _, index = find_distinct(np.column_stack([codes, design]))
    events, failures = (np.bincount(index, weights=each) for each in (happened, ~happened))
    order = np.lexsort(distinct.T[::-1])
    rows = Rows(distinct[order, 1:], np.zeros(len(order)), events[order], failures[order])
    return rows, distinct[order, 0].astype(int)


def _derive(eta: np.ndarray, rows: Rows) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log-likelihood of each row and its first and second derivative by the linear predictor.

    They are shaped like `eta`.
    """
    return score_hazard(take_hazard(eta), rows.events, rows.failures)


def _integrate(
    parameters: np.ndarray, rows: Rows, codes: np.ndarray, nodes: tuple
) -> tuple[float, np.ndarray]:
    """Marginal log-likelihood and its gradient by the coefficients and the logarithm of sigma."""
    sigma = np.exp(parameters[-1])
    eta = rows.design @ parameters[:-1]
    mode, curvature = _find_modes(eta, rows, codes, sigma)
    points, weights = nodes
    effect = mode[:, None] + points / np.sqrt(curvature)[:, None]
    value, first, _ = _derive(eta[:, None] + effect[codes], rows)
    inside = np.add.reduceat(value, np.searchsorted(codes, np.arange(len(effect))))
    inside += (
        np.log(weights)
        + points**2 / 2
        - effect**2 / (2 * sigma**2)
        - np.log(sigma)
        - np.log(curvature)[:, None] / 2
    )
    inside -= np.log(2 * np.pi) / 2
    top = inside.max(axis=1, keepdims=True)
    chance = np.exp(inside - top)
    total = chance.sum(axis=1, keepdims=True)
    chance /= total
    slope = rows.design.T @ (first * chance[codes]).sum(axis=1)
    spread = (chance * (effect**2 / sigma**2 - 1)).sum()
    return float((np.log(total) + top).sum()), np.append(slope, spread)


def _find_modes(
    eta: np.ndarray, rows: Rows, codes: np.ndarray, sigma: float
) -> tuple[np.ndarray, np.ndarray]:
    """For each site the most likely effect given the data, and the curvature there."""
    mode = np.zeros(codes.max() + 1)
    for _ in range(STEPS):
        _, first, second = _derive(eta + mode[codes], rows)
        curvature = 1 / sigma**2 - np.bincount(codes, second)
        step = (np.bincount(codes, first) - mode / sigma**2) / curvature
        mode = mode + np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-10:
            break
    _, _, second = _derive(eta + mode[codes], rows)
    return mode, 1 / sigma**2 - np.bincount(codes, second)


def _differentiate(gradient: Callable[[np.ndarray], np.ndarray], at: np.ndarray) -> np.ndarray:
    """The symmetric matrix of second derivatives, by central differences of the gradient."""
    shifts = DIFFERENCE * np.eye(len(at))
    rows = [(gradient(at + shift) - gradient(at - shift)) / (2 * DIFFERENCE) for shift in shifts]
    return (np.array(rows) + np.array(rows).T) / 2
