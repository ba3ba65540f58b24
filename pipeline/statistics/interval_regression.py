"""Accelerated-failure-time regression of a time that is only known to lie in an interval.

The model is log T = x'coef + scale * W.

Estimated is how covariates multiply the time of an event: exp(coef) is the ratio of any quantile of
T between rows that differ by one in a covariate. W is standard and minimum-extreme-value (T
Weibull), normal (log-normal) or logistic (log-logistic). An observation is half-open, (left,
right]: it brings log P(left < T <= right), `right = inf` for an event not seen.

The search runs over 1 / scale and coef / scale. In these the log-likelihood is concave, as the
density of W is log-concave (Burridge J. J R Stat Soc B 1981;43:65-75, recalled from memory): there
is one maximum at most, and a point where the gradient is zero and the second derivative negative is
it, from whatever start. There is none if the likelihood never falls along some direction, as for a
class whose members all have the event before the first test. A linear program finds it; what
depends on it has no number.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, log_expit, log_ndtr

from pipeline.statistics.cloglog import MOVES, Maximum, climb, find_distinct, find_endless
from pipeline.statistics.guard import Refusal, check_solution

FAMILIES = ("weibull", "lognormal", "loglogistic")
# standard errors, in units of the scale, above which a direction without a maximum is looked for
WIDE = 10.0
# singular value against the greatest, below which a direction of the design has no data
LEFT_OVER = 1e-9
SEPARATED = Refusal("not_identified", "separation: the likelihood rises without end")


class Patterns(NamedTuple):
    """Distinct observations.

    Attributes
    ----------
    left, right
        Ends of (left, right], days, (rows,).
    design
        Covariates with the intercept first, (rows, terms).
    weight
        How often each occurs, (rows,).
    """

    left: np.ndarray
    right: np.ndarray
    design: np.ndarray
    weight: np.ndarray


@dataclass(frozen=True)
class AftFit:
    """A fit.

    Attributes
    ----------
    family
        Name of the distribution of T.
    coef
        Coefficients (terms,), nan where the data do not determine one.
    scale
        Factor of W.
    covariance
        By the model, of coef and log(scale).
    """

    family: str
    coef: np.ndarray
    scale: float
    covariance: np.ndarray
    log_likelihood: float

    @property
    def aic(self) -> float:
        """Akaike's criterion.

        Twice the number of determined coefficients and the scale, less twice the log-likelihood.
        """
        return 2 * (np.isfinite(self.coef).sum() + 1 - self.log_likelihood)


def collapse_patterns(
    left: ArrayLike, right: ArrayLike, design: np.ndarray, weight: ArrayLike | None = None
) -> tuple[Patterns, np.ndarray]:
    """Count equal observations together, in a fixed order.

    Parameters
    ----------
    left, right
        Ends of the observations, days, 0 <= left < right; `right` is inf for an event not seen.
    design, weight
        Covariates with the intercept first (rows, terms), and how often each counts; once if None.

    Returns
    -------
    tuple
        The distinct observations, and for every row given the number of its pattern.

    Raises
    ------
    ValueError
        For what is no half-open interval, a design that is not finite, and negative weights.
    """
    left, right, design = (np.asarray(part, dtype=float) for part in (left, right, design))
    weight = np.ones(len(left)) if weight is None else np.asarray(weight, dtype=float)
    if not (np.all(left >= 0) and np.all(left < right) and np.all(np.isfinite(left))):
        raise ValueError("an interval must have 0 <= left < right")
    if not (np.all(np.isfinite(design)) and np.all(weight >= 0)):
        raise ValueError("the design must be finite and weights must not be negative")
    _, first, index = find_distinct(np.column_stack([left, right, design]))
    total = np.bincount(index, weight, minlength=len(first))
    return Patterns(left[first], right[first], design[first], total), index


def fit_aft(patterns: Patterns, family: str) -> AftFit | Refusal:
    """Find the maximum of the likelihood, or why there is none.

    Parameters
    ----------
    patterns
        Distinct observations.
    family
        Name of the distribution of T.
    """
    informative = (patterns.weight > 0) & ((patterns.left > 0) | np.isfinite(patterns.right))
    patterns = Patterns(*(part[informative] for part in patterns))
    if not len(patterns.left):
        return Refusal("too_few", "no observation")
    axes, missing = _split_directions(patterns.design)
    narrow = patterns._replace(design=patterns.design @ axes)
    maximum = climb(lambda point: score_patterns(point, narrow, family), _begin(narrow))
    refusal = check_solution(maximum.gradient, maximum.information)
    if refusal or np.sqrt(np.diag(np.linalg.inv(maximum.information))).max() > WIDE:
        direction = _find_endless(narrow)
        if direction is not None:
            return _fit_limit(patterns, axes @ direction[:-1], direction, family)
    if refusal:
        return refusal
    return _read_fit(maximum, axes, missing, family)


def score_patterns(
    point: np.ndarray, patterns: Patterns, family: str
) -> tuple[float, np.ndarray, np.ndarray]:
    """Find log-likelihood, gradient and negative second derivative at a point.

    Parameters
    ----------
    point
        coef / scale and, last, 1 / scale; outside the log-likelihood is minus infinity.
    patterns
        Distinct observations.
    family
        Name of the distribution of T.
    """
    design, weight = patterns.design, patterns.weight
    if point[-1] <= 0:
        return -np.inf, np.zeros(len(point)), np.eye(len(point))
    (low, log_left), (high, log_right) = (
        _standardise(end, design, point) for end in (patterns.left, patterns.right)
    )
    with np.errstate(over="ignore", under="ignore", divide="ignore", invalid="ignore"):
        inside = _log_between(low, high, family)
        if not np.all(np.isfinite(inside)):
            return -np.inf, np.zeros(len(point)), np.eye(len(point))
        (a, bend_a), (b, bend_b) = (_describe_density(z, inside, family) for z in (low, high))
    gradient_low, gradient_high = -weight * a, weight * b
    low_low, high_high, cross = (
        -weight * (a * bend_a + a * a),
        weight * (b * bend_b - b * b),
        weight * a * b,
    )
    to_scale = (low_low + cross) * log_left + (high_high + cross) * log_right
    information = np.empty((len(point), len(point)))
    information[:-1, :-1] = -(design.T * (low_low + 2 * cross + high_high)) @ design
    information[:-1, -1] = information[-1, :-1] = design.T @ to_scale
    information[-1, -1] = -(
        (low_low * log_left + 2 * cross * log_right) @ log_left + high_high @ log_right**2
    )
    slope = np.append(
        -design.T @ (gradient_low + gradient_high),
        gradient_low @ log_left + gradient_high @ log_right,
    )
    return float(weight @ inside), slope, information


def share_past(fit: AftFit, design: np.ndarray, day: float) -> np.ndarray:
    """Predict P(T <= day) of each row of a design.

    Parameters
    ----------
    fit
        The fit.
    design
        Covariates with the intercept first, (rows, terms).
    day
        Above 0.

    Returns
    -------
    np.ndarray
        (rows,); nan for a row that needs a coefficient which the data do not determine.
    """
    unknown = np.isnan(fit.coef)
    z = (np.log(day) - design @ np.where(unknown, 0, fit.coef)) / fit.scale
    past = -np.expm1(_log_between(z, np.full(len(z), np.inf), fit.family))
    return np.where((design[:, unknown] != 0).any(axis=1), np.nan, past)


def _begin(patterns: Patterns) -> np.ndarray:
    """Times in the middle of their intervals, a scale of 1."""
    left = np.where(patterns.left > 0, patterns.left, patterns.right / 4)
    right = np.where(np.isfinite(patterns.right), patterns.right, 4 * patterns.left)
    root = np.sqrt(patterns.weight)
    return np.append(
        np.linalg.lstsq(
            patterns.design * root[:, None], root * np.log(left * right) / 2, rcond=None
        )[0],
        1.0,
    )


def _standardise(
    end: np.ndarray, design: np.ndarray, point: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The z of each end, infinite outside of time, and its derivative by 1 / scale, there zero."""
    inside = (end > 0) & np.isfinite(end)
    log_end = np.log(np.where(inside, end, 1.0))
    return np.where(
        inside, point[-1] * log_end - design @ point[:-1], np.where(end > 0, np.inf, -np.inf)
    ), log_end


def _log_between(low: np.ndarray, high: np.ndarray, family: str) -> np.ndarray:
    """The logarithm of P(low < W <= high) without loss of digits in either tail."""
    if family == "weibull":
        least = np.exp(low)
        return -least + np.log(-np.expm1(least - np.exp(high)))
    if family == "loglogistic":
        return log_expit(-low) + log_expit(high) + np.log(-np.expm1(low - high))
    with np.errstate(invalid="ignore"):
        upper = low + high > 0  # the tail in which both logarithms stay below zero
    outer, inner = log_ndtr(np.where(upper, -low, high)), log_ndtr(np.where(upper, -high, low))
    return outer + np.log(-np.expm1(inner - outer))


def _describe_density(
    z: np.ndarray, log_inside: np.ndarray, family: str
) -> tuple[np.ndarray, np.ndarray]:
    """The density of W at z against the interval's probability, and its log's derivative.

    Both are zero at infinity.
    """
    finite = np.isfinite(z)
    z = np.where(finite, z, 0.0)
    if family == "weibull":
        logarithm, slope = z - np.exp(z), 1 - np.exp(z)
    elif family == "loglogistic":
        logarithm, slope = log_expit(z) + log_expit(-z), 1 - 2 * expit(z)
    else:
        logarithm, slope = -(z**2 + np.log(2 * np.pi)) / 2, -z
    return np.where(finite, np.exp(logarithm - log_inside), 0.0), np.where(finite, slope, 0.0)


def _split_directions(design: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Axes that span the coefficients with data, and which terms have a part outside of them.

    (terms, rank) and (terms,).
    """
    triangle = np.linalg.qr(design, mode="r")
    _, values, rows = np.linalg.svd(triangle)
    rank = int((values > LEFT_OVER * values[0]).sum())
    if rank == design.shape[1]:
        return np.eye(rank), np.zeros(rank, dtype=bool)
    return rows[:rank].T, np.abs(rows[rank:]).max(axis=0) > MOVES


def _find_endless(patterns: Patterns) -> np.ndarray | None:
    """A direction of coef / scale and 1 / scale along which the likelihood never falls.

    No end moves inward along it and one moves outward; None if there is none.
    """
    inner, outer = patterns.left > 0, np.isfinite(patterns.right)
    outward = np.vstack(
        [
            np.column_stack([patterns.design, -np.log(np.where(inner, patterns.left, 1))])[inner],
            np.column_stack([-patterns.design, np.log(np.where(outer, patterns.right, 1))])[outer],
        ]
    )
    return find_endless(outward, [(-1, 1)] * patterns.design.shape[1] + [(0, 1)])


def _fit_limit(
    patterns: Patterns, shift: np.ndarray, direction: np.ndarray, family: str
) -> AftFit | Refusal:
    """The fit that is approached along a direction without end: ends that move outward are gone.

    No end that is left moves along it, so that the coefficients that do are without data, and have
    no number.
    """
    if direction[-1] > MOVES or abs(shift[0]) > MOVES:
        return SEPARATED
    inward = patterns.design @ shift
    left, right = (
        np.where(inward > MOVES, 0.0, patterns.left),
        np.where(inward < -MOVES, np.inf, patterns.right),
    )
    return fit_aft(patterns._replace(left=left, right=right), family)


def _read_fit(maximum: Maximum, axes: np.ndarray, missing: np.ndarray, family: str) -> AftFit:
    """Back to coef and log(scale); at a maximum the information changes as a tensor."""
    inverse_scale = maximum.point[-1]
    turn = np.zeros((len(axes) + 1, len(maximum.point)))
    turn[:-1, :-1] = axes / inverse_scale
    turn[:-1, -1] = -(axes @ maximum.point[:-1]) / inverse_scale**2
    turn[-1, -1] = -1 / inverse_scale
    coef = np.where(missing, np.nan, axes @ maximum.point[:-1] / inverse_scale)
    covariance = turn @ np.linalg.inv(maximum.information) @ turn.T
    return AftFit(family, coef, float(1 / inverse_scale), covariance, float(maximum.value))
