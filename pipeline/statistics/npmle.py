"""Distribution of a time that is only known to lie in an interval, without a parametric form.

The estimator is Turnbull's (1976, J R Stat Soc B 38:290-295): mass on the innermost intervals,
those that run from the left end of an observation to the right end of one with no other end
between. Observations are half-open, (left, right]: still present at `left`, gone at `right`,
`right = inf` for "not gone when last seen".

A fit is returned only with a proof of optimality (Gentleman & Geyer 1994, Biometrika 81:618-623):
with w the weights, N their sum and d_i the mass inside observation i, the gradient g_j = sum of w_i
/ (N d_i) over the observations i around interval j is at most 1 + tolerance for every j. The
log-likelihood is then within N * tolerance of its maximum.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from pipeline.statistics.npmle_search import TOLERANCE, collapse_cells, maximise, maximise_near

# replicates solved together: enough to spare Python's overhead, few enough for the processor's
# cache
ROWS = 64
ROUNDING = 1e-6  # a cumulated mass this close below p has reached p


@dataclass(frozen=True)
class Npmle:
    """A fitted distribution.

    How the mass lies inside an interval is unknown. A mass that the data do not support ends near
    zero, not at it.

    Attributes
    ----------
    left, right
        Ends of the intervals (left, right], days, in order of time; the last `right` may be inf.
    mass
        Probability of each interval.
    log_likelihood
        Its maximum.
    max_gradient
        The greatest gradient, at most 1 + tolerance: the proof of optimality.
    iterations
        Steps of the search.
    """

    left: np.ndarray
    right: np.ndarray
    mass: np.ndarray
    log_likelihood: float
    max_gradient: float
    iterations: int

    def survival(self, days: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
        """Find the lowest and highest P(time > day) that the fit allows.

        They differ only where left < day < right of an interval with mass: `lower` has that mass
        gone at once after `left`, `upper` at `right`. At day = left all of it is still to come, at
        day = right all of it is past, and both agree. Inside (left, inf] `lower` has its mass gone
        and `upper` keeps it for ever.

        Parameters
        ----------
        days
            Days, of any shape.

        Returns
        -------
        tuple of np.ndarray
            `lower` and `upper`, each shaped like `days`.
        """
        # sums of masses reach beyond 1 by an epsilon
        still = self.mass[::-1].cumsum()[::-1].clip(max=1.0)
        remaining = np.append(still, 0.0)
        lower = remaining[np.searchsorted(self.left, days, side="left")]
        upper = remaining[np.searchsorted(self.right, days, side="right")]
        return lower, upper

    def quantile(self, p: float) -> tuple[float, float]:
        """Find the interval with the first time by which a share `p` is past.

        Parameters
        ----------
        p
            A share, between 0 and 1.

        Returns
        -------
        tuple of float
            Its ends (left, right]; (last left, inf) if there is no such time.

        Raises
        ------
        ValueError
            If p does not lie between 0 and 1.
        """
        j = _reach(self.mass[None], p)[0]
        return float(self.left[j]), float(self.right[j])


class Replicates(NamedTuple):
    """Fits of many replicates, a row for each.

    Attributes
    ----------
    lower, upper
        Lowest and highest survival on each day, (replicates, days).
    quantile_left, quantile_right
        The interval that holds the quantile, (replicates,).
    """

    lower: np.ndarray
    upper: np.ndarray
    quantile_left: np.ndarray
    quantile_right: np.ndarray


def fit_npmle(
    left: ArrayLike, right: ArrayLike, weight: ArrayLike | None = None, tolerance: float = TOLERANCE
) -> Npmle:
    """Fit the distribution to observations (left, right].

    Memory grows with the square of the number of innermost intervals, which whole days keep small.

    Parameters
    ----------
    left, right
        Ends of the observations, days, 0 <= left < right; `right` is inf for "not gone when last
        seen".
    weight
        How often each counts; once if None.
    tolerance
        By how much the greatest gradient may be above 1.

    Returns
    -------
    Npmle
        The fit, proved optimal.

    Raises
    ------
    ValueError
        For what is no set of weighted intervals.
    NotConverged
        When the proof fails.
    """
    left, right, index = collapse_intervals(left, right)
    total = np.bincount(
        index,
        weights=_demand_weights(np.ones(len(index)) if weight is None else weight, index.shape),
    )
    left, right, total = left[total > 0], right[total > 0], total[total > 0]
    if not len(total):
        raise ValueError("no interval has a positive weight")
    inner_left, inner_right, first, last = _locate(left, right)
    mass, gradient, iterations = maximise(*collapse_cells(total[None], first, last), tolerance)
    past = np.append(0.0, mass[0].cumsum())
    log_likelihood = float(total @ np.log(past[last + 1] - past[first]))
    return Npmle(
        inner_left, inner_right, mass[0], log_likelihood, float(gradient.max()), iterations
    )


def fit_many(
    left: ArrayLike, right: ArrayLike, weights: ArrayLike, days: ArrayLike, p: float = 0.5
) -> Replicates:
    """Fit the same observations (left, right] under many weight vectors.

    A weight of zero leaves an observation out, its ends too; a row of zeros gives NaN. Replicates
    are searched near the fit of all of them added up. Each is proved optimal to the tolerance of a
    single fit, since less would show in the survival.

    Parameters
    ----------
    left, right
        Ends of the observations, days, as for `fit_npmle`.
    weights
        How often each counts in each replicate, (replicates, observations).
    days
        The days on which survival is asked for, (days,).
    p
        The share of the quantile.

    Returns
    -------
    Replicates
        A row for each row of `weights`.

    Raises
    ------
    ValueError, NotConverged
        As `fit_npmle` does.
    """
    left, right = _demand_intervals(left, right)
    weights = _demand_weights(weights, (len(weights), len(left)))
    inner_left, inner_right, first, last = _locate(left, right)
    lower, upper = np.full((2, len(weights), len(days)), np.nan)
    quantile = np.full((2, len(weights)), np.nan)
    filled = np.flatnonzero(weights.any(axis=1))
    cells, first, last = collapse_cells(weights, first, last)
    pooled, gradient, _ = (
        maximise(cells.sum(axis=0)[None], first, last, TOLERANCE)
        if len(filled)
        else (np.empty((1, 0)), np.empty((1, 0)), 0)
    )
    for rows in (filled[start : start + ROWS] for start in range(0, len(filled), ROWS)):
        mass = maximise_near(cells[rows], first, last, pooled[0], gradient[0])
        begin = _last_end(left, weights[rows] > 0, inner_left)
        end = -_last_end(-right, weights[rows] > 0, -inner_right)
        for k, day in enumerate(days):
            lower[rows, k] = (mass * (begin >= day)).sum(axis=1)
            upper[rows, k] = (mass * (end > day)).sum(axis=1)
        at = np.arange(len(rows)), _reach(mass, p)
        quantile[:, rows] = begin[at], end[at]
    return Replicates(lower, upper, *quantile)


def collapse_intervals(
    left: ArrayLike, right: ArrayLike
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the distinct intervals, sorted.

    Parameters
    ----------
    left, right
        Ends of the observations, days, as for `fit_npmle`.

    Returns
    -------
    tuple of np.ndarray
        `left` and `right` of the distinct intervals, and for every row given the index of its
        interval.

    Raises
    ------
    ValueError
        For what is no interval.
    """
    both = np.stack(_demand_intervals(left, right), axis=1)
    distinct, index = np.unique(both, axis=0, return_inverse=True)
    return distinct[:, 0], distinct[:, 1], index


def innermost_intervals(left: np.ndarray, right: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Find the intervals from a left end to a right end with no other end between.

    Parameters
    ----------
    left, right
        Ends of the observations, (left, right].

    Returns
    -------
    tuple of np.ndarray
        `left` and `right` of the intervals, in order of time (Turnbull 1976).
    """
    ends, is_left = np.append(left, right), np.repeat([True, False], [len(left), len(right)])
    # at one time right ends come first: (1, 2] and (2, 3] do not meet
    order = np.lexsort((is_left, ends))
    ends, is_left = ends[order], is_left[order]
    at = np.flatnonzero(is_left[:-1] & ~is_left[1:])
    return ends[at], ends[at + 1]


def _locate(
    left: np.ndarray, right: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The innermost intervals, and the first and the last of them inside each observation."""
    inner_left, inner_right = innermost_intervals(left, right)
    return (
        inner_left,
        inner_right,
        np.searchsorted(inner_left, left),
        np.searchsorted(inner_right, right, "right") - 1,
    )


def _last_end(ends: np.ndarray, used: np.ndarray, limit: np.ndarray) -> np.ndarray:
    """The largest edge up to each limit that a replicate uses, -inf if there is none.

    (replicates, limits).
    """
    order = np.argsort(ends)
    largest = np.maximum.accumulate(np.where(used[:, order], ends[order], -np.inf), axis=1)
    return largest[:, np.searchsorted(ends[order], limit, side="right") - 1]


def _reach(mass: np.ndarray, p: float) -> np.ndarray:
    """For each row of masses the first position at which their sum reaches p."""
    if not 0 < p < 1:
        raise ValueError("p must lie between 0 and 1")
    return np.argmax(mass.cumsum(axis=1) >= p - ROUNDING, axis=1)


def _demand_intervals(left: ArrayLike, right: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    left, right = np.asarray(left, dtype=float), np.asarray(right, dtype=float)
    if left.ndim != 1 or left.shape != right.shape or not len(left):
        raise ValueError("left and right must be lists of the same length, and not empty")
    if not ((left >= 0) & (left < right)).all():  # false for NaN too
        raise ValueError("every interval needs 0 <= left < right, and neither may be missing")
    return left, right


def _demand_weights(weights: ArrayLike, shape: tuple[int, ...]) -> np.ndarray:
    weights = np.asarray(weights, dtype=float)
    if weights.shape != shape:
        raise ValueError("there must be one weight per interval")
    if not (np.isfinite(weights) & (weights >= 0)).all():
        raise ValueError("weights must be finite and not negative")
    return weights
