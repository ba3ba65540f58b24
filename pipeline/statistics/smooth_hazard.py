"""The share resolved by a day as a smooth course of covariates: an interval-censored regression.

Estimated is P(resolution by day t | covariates x) = 1 - exp(-exp(s(log t) + x b)) over the first
spells of positional episodes that were followed, t counted from the first attempt: proportional
hazards with the logarithm of the cumulative hazard a natural cubic spline of log time (Royston P,
Parmar MKB. Stat Med 2002;21:2175-2197); with two knots it is a straight line, and the distribution
Weibull's. An episode resolved in (L, R] brings S(L) - S(R) to the likelihood, whole: beyond the
last knot the spline is straight. To cut intervals there would keep what a later positive test says
and drop what a later negative one does (with a planted .775 by day 30, .757 came back so).
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.statistics.cloglog import climb
from pipeline.statistics.guard import Refusal, check_solution
from schemas.study import Guards

FIRST_KNOT = 1.0  # no test counts before day 1
FALLS = Refusal(
    "not_identified", "too little is known of the course over time: the fitted share would fall"
)
LOST = 1e10  # stands for minus infinity where a curve would rise


@dataclass(frozen=True)
class Hazard:
    """A fitted regression.

    Attributes
    ----------
    coefficients, covariance
        Of the spline, then of the covariates.
    knots
        Knots of the spline, days.
    """

    coefficients: np.ndarray
    covariance: np.ndarray
    knots: tuple[float, ...]


@dataclass(frozen=True)
class _Edge:
    """One end of the intervals.

    Where it is `inside` time, the log cumulative hazard is basis @ coefficients.
    """

    basis: np.ndarray
    inside: np.ndarray

    def survive(
        self, coefficients: np.ndarray, elsewhere: float
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Survival at the end (`elsewhere` at zero or infinity) and two derivatives.

        They are the first and the second by the log cumulative hazard.
        """
        cumulative = np.exp(np.clip(self.basis @ coefficients, -50, 50))
        survival = np.where(self.inside, np.exp(-cumulative), 0.0)
        slope = -cumulative * survival
        return np.where(self.inside, survival, elsewhere), slope, slope * (1 - cumulative)


def fit_hazard(
    left: np.ndarray, right: np.ndarray, covariates: np.ndarray, knots: tuple[float, ...]
) -> Hazard | Refusal:
    """Fit the regression to times in (left, right].

    Parameters
    ----------
    left, right
        Ends of each observation, days, (episodes,).
    covariates
        (episodes, terms).
    knots
        Knots of the spline, days, rising, two or more.

    Returns
    -------
    Hazard | Refusal
        The fit, or why there is none: the data do not determine it, or the fitted share falls.
    """
    edges = []
    for day in (left, right):
        inside = _is_inside(day)
        basis = np.column_stack([course_basis(np.where(inside, day, 1.0), knots), covariates])
        edges.append(_Edge(basis, inside))
    start = np.zeros(edges[0].basis.shape[1])
    start[:2] = -1.0, 0.5
    maximum = climb(lambda at: _sum_log_likelihood(at, *edges), start)
    refusal = check_solution(maximum.gradient, maximum.information)
    if refusal:
        return refusal
    hazard = Hazard(maximum.point, np.linalg.inv(maximum.information), knots)
    return hazard if _rises(hazard) else FALLS


def course_basis(day: np.ndarray, knots: tuple[float, ...]) -> np.ndarray:
    """Find the columns of a spline of log time on some days.

    Parameters
    ----------
    day
        Days, above 0, (days,).
    knots
        Knots of the spline, days, rising.

    Returns
    -------
    np.ndarray
        (days, knots): a constant, log time, and for each inner knot a cubic that is straight
        outside the end knots, scaled by the square of their range.
    """
    x, (low, *inner, high) = np.log(day), np.log(knots)
    columns = [np.ones(len(x)), x]
    for middle in inner:
        share = (high - middle) / (high - low)
        cubes = [np.maximum(x - knot, 0) ** 3 for knot in (middle, low, high)]
        columns.append((cubes[0] - share * cubes[1] - (1 - share) * cubes[2]) / (high - low) ** 2)
    return np.column_stack(columns)


def keep_distinguishable(matrix: pd.DataFrame, fixed: np.ndarray, guards: Guards) -> pd.DataFrame:
    """Keep the columns with enough of their own.

    That is what neither the other columns nor those of `fixed` explain, as a sum of squares: in
    units of a column of zeros and ones a number of episodes. Where it is small, two classes differ
    in a handful of episodes only, and a coefficient would rest on them alone. The last such column
    goes first.

    Parameters
    ----------
    matrix
        The columns to choose from, (episodes, columns).
    fixed
        Columns that stay, (episodes, columns).
    guards
        Threshold `min_events`.

    Returns
    -------
    pd.DataFrame
        The columns that stay, in their order.
    """
    columns = list(matrix)
    while columns:
        design = np.column_stack([fixed, matrix[columns]])
        unexplained = (
            1 / np.diag(np.linalg.pinv(design.T @ design, hermitian=True))[fixed.shape[1] :]
        )
        short = np.flatnonzero(~(unexplained >= guards.min_events))
        if not len(short):
            break
        del columns[short[-1]]
    return matrix[columns]


def _is_inside(day: np.ndarray) -> np.ndarray:
    return (day > 0) & np.isfinite(day)


def _rises(hazard: Hazard) -> bool:
    """Whether the cumulative hazard grows from day to day."""
    days = np.arange(1.0, hazard.knots[-1] + 1)
    course = course_basis(days, hazard.knots) @ hazard.coefficients[: len(hazard.knots)]
    return bool((np.diff(course) > 0).all())


def _sum_log_likelihood(
    coefficients: np.ndarray, left: _Edge, right: _Edge
) -> tuple[float, np.ndarray, np.ndarray]:
    """The log-likelihood of all intervals, its gradient and information."""
    still, falling, bending = left.survive(coefficients, 1.0)
    gone, fallen, bent = right.survive(coefficients, 0.0)
    inside, size = still - gone, len(coefficients)
    if not (inside > 0).all():
        return -LOST, np.zeros(size), np.zeros((size, size))
    begin, end = left.basis * (falling / inside)[:, None], right.basis * (fallen / inside)[:, None]
    each = begin - end
    curved = left.basis.T @ (left.basis * (bending / inside)[:, None])
    curved -= right.basis.T @ (right.basis * (bent / inside)[:, None])
    return float(np.log(inside).sum()), each.sum(axis=0), each.T @ each - curved
