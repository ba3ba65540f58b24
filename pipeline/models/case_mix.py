"""The share resolved by a day that a case mix lets expect, and how far a group departs from it: an interval-censored regression.

Estimated is P(resolution by day t | covariates x) = 1 - exp(-exp(s(log t) + x b)) over the first spells of positional episodes that were
followed, t counted from the first attempt: proportional hazards with the logarithm of the cumulative hazard a natural cubic spline of log
time (Royston P, Parmar MKB. Stat Med 2002;21:2175-2197); with two knots it is a straight line, and the distribution Weibull's. An episode
resolved in (L, R] brings S(L) - S(R) to the likelihood; beyond the last knot it counts as unresolved.

A group departs from a fitted curve by a factor exp(u + v log t) on its cumulative hazard, estimated from all of its intervals. They are not
cut off at the day of interest: who is first looked at after it is then known to be unresolved, or else tells nothing, and only the former
would count.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import minimize

from pipeline.models.guard import Refusal, check_solution
from schemas.study import Guards

FIRST_KNOT = 1.0  # no look counts before day 1
DIFFERENCE = 1e-5
FALLS = Refusal("not_identified", "too little is known of the course over time: the fitted share would fall")
LOST = 1e10  # stands for minus infinity where a curve would rise


@dataclass(frozen=True)
class Hazard:
    """The fitted spline and coefficients with their covariance; `knots` are days."""

    coefficients: np.ndarray
    covariance: np.ndarray
    knots: tuple[float, ...]


@dataclass(frozen=True)
class Departure:
    """A group's share by a day: `expected` by its case mix, `observed` with its own departure, and the error of their difference if it has none."""

    expected: float
    observed: float
    error: float


@dataclass(frozen=True)
class _Edge:
    """One end of the intervals: where it is `inside` time, the log cumulative hazard is offset + basis @ coefficients."""

    basis: np.ndarray
    offset: np.ndarray
    inside: np.ndarray

    def survive(self, coefficients: np.ndarray, elsewhere: float) -> tuple[np.ndarray, np.ndarray]:
        """Survival at the end (`elsewhere` at zero or infinity), and its derivative by the log cumulative hazard."""
        cumulative = np.exp(np.clip(self.offset + self.basis @ coefficients, -50, 50))
        survival = np.exp(-cumulative)
        return np.where(self.inside, survival, elsewhere), np.where(self.inside, -cumulative * survival, 0.0)


def fit_hazard(
    left: np.ndarray, right: np.ndarray, covariates: np.ndarray, knots: tuple[float, ...]
) -> Hazard | Refusal:
    """The regression of (left, right] on covariates (episodes, terms); refused where the data do not determine it."""
    edges = []
    for day in _cut(left, right, knots):
        inside = _is_inside(day)
        basis = np.column_stack([_spline(np.where(inside, day, 1.0), knots), covariates])
        edges.append(_Edge(basis, np.zeros(len(day)), inside))
    start = np.zeros(edges[0].basis.shape[1])
    start[:2] = -1.0, 0.5
    found = _maximise(lambda at: _sum_log_likelihood(at, *edges), start)
    if isinstance(found, Refusal):
        return found
    hazard = Hazard(found[0], np.linalg.inv(found[1]), knots)
    return hazard if _rises(hazard) else FALLS


def predict_share(hazard: Hazard, covariates: np.ndarray, day: int) -> tuple[float, float]:
    """The mean chance of resolution by the day over the rows of covariates, and its standard error (delta method)."""
    basis = np.column_stack([_spline(np.full(len(covariates), float(day)), hazard.knots), covariates])
    cumulative = np.exp(basis @ hazard.coefficients)
    slope = basis.T @ (cumulative * np.exp(-cumulative)) / len(covariates)
    return float(-np.expm1(-cumulative).mean()), float(np.sqrt(slope @ hazard.covariance @ slope))


def measure_departure(
    hazard: Hazard, left: np.ndarray, right: np.ndarray, covariates: np.ndarray, days: tuple[int, ...]
) -> dict[int, Departure] | Refusal:
    """The departure by each day of a group that was not part of the fit.

    The error is that of no departure: the information is taken there, and the error of the expected share is added.
    """
    edges = []
    for day in _cut(left, right, hazard.knots):
        inside = _is_inside(day)
        at = np.where(inside, day, 1.0)
        offset = np.column_stack([_spline(at, hazard.knots), covariates]) @ hazard.coefficients
        edges.append(_Edge(np.column_stack([np.ones(len(at)), np.log(at)]), offset, inside))

    def judge(at: np.ndarray) -> tuple[float, np.ndarray]:
        return _sum_log_likelihood(at, *edges)

    found = _maximise(judge, np.zeros(2))
    information = _differentiate(judge, np.zeros(2))
    if isinstance(found, Refusal):
        return found
    if not _rises(hazard, found[0][1]):
        return FALLS
    if np.linalg.eigvalsh(information)[0] <= 0:
        return Refusal("not_identified", "too little is known of the course over time")
    told = {}
    for day in days:
        expected, error = predict_share(hazard, covariates, day)
        basis = np.column_stack([_spline(np.full(len(covariates), float(day)), hazard.knots), covariates])
        cumulative, when = np.exp(basis @ hazard.coefficients), np.array([1.0, np.log(day)])
        slope = (cumulative * np.exp(-cumulative)).mean()
        variance = slope**2 * when @ np.linalg.solve(information, when) + error**2
        observed = float(-np.expm1(-cumulative * np.exp(when @ found[0])).mean())
        told[day] = Departure(expected, observed, float(np.sqrt(variance)))
    return told


def keep_told_apart(matrix: pd.DataFrame, fixed: np.ndarray, guards: Guards) -> pd.DataFrame:
    """The columns with enough of their own: what neither the other columns nor those of `fixed` explain, as a sum of squares.

    In units of a column of zeros and ones that is a number of episodes. Where it is small, two classes differ in a handful of episodes
    only, and a coefficient would rest on them alone. The last such column goes first.
    """
    columns = list(matrix)
    while columns:
        design = np.column_stack([fixed, matrix[columns]])
        own = 1 / np.diag(np.linalg.pinv(design.T @ design, hermitian=True))[fixed.shape[1] :]
        short = np.flatnonzero(~(own >= guards.min_events))
        if not len(short):
            break
        del columns[short[-1]]
    return matrix[columns]


def _cut(left: np.ndarray, right: np.ndarray, knots: tuple[float, ...]) -> tuple[np.ndarray, np.ndarray]:
    return np.minimum(left, knots[-1]), np.where(right > knots[-1], np.inf, right)


def _is_inside(day: np.ndarray) -> np.ndarray:
    return (day > 0) & np.isfinite(day)


def _spline(day: np.ndarray, knots: tuple[float, ...]) -> np.ndarray:
    """A constant, log time, and for each inner knot a cubic that is straight outside the end knots, scaled by the square of their range."""
    x, (low, *inner, high) = np.log(day), np.log(knots)
    columns = [np.ones(len(x)), x]
    for middle in inner:
        share = (high - middle) / (high - low)
        cubes = [np.maximum(x - knot, 0) ** 3 for knot in (middle, low, high)]
        columns.append((cubes[0] - share * cubes[1] - (1 - share) * cubes[2]) / (high - low) ** 2)
    return np.column_stack(columns)


def _rises(hazard: Hazard, tilt: float = 0.0) -> bool:
    """Whether the cumulative hazard grows from day to day, tilted by a departure."""
    days = np.arange(1.0, hazard.knots[-1] + 1)
    course = _spline(days, hazard.knots) @ hazard.coefficients[: len(hazard.knots)] + tilt * np.log(days)
    return bool((np.diff(course) > 0).all())


def _sum_log_likelihood(coefficients: np.ndarray, left: _Edge, right: _Edge) -> tuple[float, np.ndarray]:
    """The log-likelihood of all intervals and its gradient."""
    (still, falling), (gone, fallen) = left.survive(coefficients, 1.0), right.survive(coefficients, 0.0)
    inside = still - gone
    if not (inside > 0).all():
        return -LOST, np.zeros(len(coefficients))
    return float(np.log(inside).sum()), left.basis.T @ (falling / inside) - right.basis.T @ (fallen / inside)


def _maximise(judge: Callable, start: np.ndarray) -> tuple[np.ndarray, np.ndarray] | Refusal:
    """The coefficients of the greatest likelihood and the information there, checked."""

    def lose(at: np.ndarray) -> tuple[float, np.ndarray]:
        value, gradient = judge(at)
        return -value, -gradient

    found = minimize(lose, start, jac=True, method="BFGS", options={"gtol": 1e-5, "maxiter": 1000}).x
    information = _differentiate(judge, found)
    if np.isfinite(information).all() and np.linalg.matrix_rank(information) == len(found):
        polished = found + np.linalg.solve(information, judge(found)[1])  # BFGS stops a little short of the peak
        found = polished if judge(polished)[0] >= judge(found)[0] else found
    return check_solution(judge(found)[1], information) or (found, information)


def _differentiate(judge: Callable, at: np.ndarray) -> np.ndarray:
    """The symmetric matrix of second derivatives, negative, by central differences of the gradient."""
    shifts = DIFFERENCE * np.eye(len(at))
    rows = np.array([(judge(at - shift)[1] - judge(at + shift)[1]) / (2 * DIFFERENCE) for shift in shifts])
    return (rows + rows.T) / 2
