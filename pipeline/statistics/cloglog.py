"""Complementary log-log regression of counted rows, collapsed to distinct ones.

It describes the hazard of an event between two tests.

A row has a hazard H = exp(offset + design @ coef), summed over its gap; its event happens with
probability 1 - exp(-H). With the offset log(gap) the likelihood of a patient's rows is that of an
interval-censored time with a constant hazard between tests (Prentice RL, Gloeckler LA. Biometrics
1978;34:57-67). Weights are counts: a row with 3 events and 2 failures is five rows.

Newton's steps are shortened until the likelihood rises: full steps diverge where offsets differ by
a factor of hundred.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from scipy.optimize import linprog

from pipeline.statistics.guard import Refusal, check_solution

STEPS, HALVINGS = 60, 12
LONGEST_STEP = 1.0  # of a log hazard or a standard deviation at once
ENOUGH = 1e-12  # of twice the rise of the log-likelihood that one more step promises
ROUNDING = 1e-12  # a fall of the log-likelihood that is no fall
NO_INFORMATION = 1e-6  # a standard error of a thousand
# of a coefficient: where the likelihood rises without end, Newton would still go further, by about
# 1 each time
STILL = 1e-3
NEARLY_FLAT = 1e-6  # curvature against the greatest
MOVES = 1e-6  # least change along a direction that is one: above the precision of linear programs
# what other columns leave of one, against its length, below which it follows from them
DEPENDENT = 1e-8
LEAST_CURVATURE = 1e-7  # against the greatest: steps are kept finite where the likelihood is flat
LEAST_LINEAR, GREATEST_HAZARD = -700.0, 700.0  # where exp leaves the numbers
ALIKE = Refusal(
    "not_identified",
    "separation: some have no event, or only events, and no finite coefficient fits",
)


class Rows(NamedTuple):
    """Distinct rows with counts.

    Attributes
    ----------
    design, offset
        Covariates (rows, terms), and what is added to the log hazard (rows,).
    events, failures
        How many of each row had the event and had not, (rows,).
    """

    design: np.ndarray
    offset: np.ndarray
    events: np.ndarray
    failures: np.ndarray

    def keep(self, mask: np.ndarray) -> "Rows":
        """Keep the rows where `mask` is true."""
        return Rows(*(part[mask] for part in self))


class Maximum(NamedTuple):
    """Where a climb ended.

    Attributes
    ----------
    point, value
        The place (parameters,) and the log-likelihood there.
    gradient, information
        Its gradient (parameters,) and its negative second derivative (parameters, parameters).
    """

    point: np.ndarray
    value: float
    gradient: np.ndarray
    information: np.ndarray


def score_hazard(
    hazard: np.ndarray, events: np.ndarray, failures: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the log-likelihood of each hazard and its first and second derivative by log(hazard).

    Parameters
    ----------
    hazard
        Hazards H summed over the gap; the first axis is that of the rows.
    events, failures
        How many of each row had the event and had not, (rows,).

    Returns
    -------
    tuple of np.ndarray
        The three, each shaped like `hazard`.

    Notes
    -----
    With g = H / (exp(H) - 1), an event adds log(1 - exp(-H)), g and g (1 - H - g); a failure adds
    -H to all three.
    """
    shape = (-1, *[1] * (hazard.ndim - 1))
    value = -failures.reshape(shape) * hazard
    first, second = value.copy(), value.copy()
    some = np.flatnonzero(events > 0)
    count, present = events[some].reshape(shape), np.minimum(hazard[some], GREATEST_HAZARD)
    odds = np.expm1(present)
    ratio = present / odds
    value[some] -= count * np.log1p(1 / odds)
    first[some] += count * ratio
    second[some] += count * ratio * (1 - present - ratio)
    return value, first, second


def fit_cloglog(rows: Rows, start: np.ndarray | None = None) -> Maximum | Refusal:
    """Find the maximum of the likelihood, or why there is none.

    Its inverse information is the covariance by the model.

    Parameters
    ----------
    rows
        Distinct rows with counts.
    start
        Coefficients to start from, (terms,); one hazard for all if None.
    """
    if not rows.design.size:
        return ALIKE  # nothing is left that the rows tell apart
    maximum = climb_rows(rows, start)
    return check_maximum(maximum) or maximum


def check_maximum(maximum: Maximum) -> Refusal | None:
    """Check that this is a maximum, not the end of a road along which a coefficient runs away."""
    if np.diag(maximum.information).min() < NO_INFORMATION:
        return ALIKE
    refusal = check_solution(maximum.gradient, maximum.information)
    if refusal or np.abs(np.linalg.solve(maximum.information, maximum.gradient)).max() < STILL:
        return refusal
    return Refusal(
        "not_identified",
        "separation: the likelihood rises without end, and no finite coefficient fits",
    )


def climb_rows(rows: Rows, start: np.ndarray | None = None) -> Maximum:
    """Climb from `start`, or from one hazard for all, and tell where that ends."""
    if start is None:
        exposed = ((rows.events + rows.failures) * np.exp(rows.offset)).sum()
        level = np.log((rows.events.sum() + 0.5) / (exposed + 0.5))
        start = np.linalg.lstsq(rows.design, np.full(len(rows.offset), level), rcond=None)[0]
    return climb(lambda point: score_rows(rows, point), start)


def is_flat(information: np.ndarray) -> bool:
    """Tell whether the likelihood is nearly flat in some direction, by its information.

    So it is where members of some combination of classes have no event, or only events, and
    coefficients run away, or where columns follow from each other.
    """
    if np.diag(information).min() < NO_INFORMATION:
        return True
    scale = np.sqrt(np.diag(information))
    curvature = np.linalg.eigvalsh(information / np.outer(scale, scale))
    return bool(curvature[0] <= NEARLY_FLAT * curvature[-1])


def find_determined(rows: Rows, n_covariates: int) -> tuple[np.ndarray, np.ndarray]:
    """Find which rows and which columns a maximum rests on.

    Rows whose likelihood rises towards one without end are at their limit: they tell nothing of any
    finite coefficient, and counted with others they would change those. Of columns that then follow
    from each other the later ones among the first `n_covariates` go first.

    Returns
    -------
    tuple of np.ndarray
        Which rows (rows,) and which columns (terms,), boolean.
    """
    stays = np.ones(len(rows.events), dtype=bool)
    while True:
        left = rows.keep(stays)
        outward = np.vstack([left.design[left.events > 0], -left.design[left.failures > 0]])
        direction = find_endless(outward, [(-1, 1)] * outward.shape[1])
        if direction is None:
            break
        stays[np.flatnonzero(stays)[np.abs(left.design @ direction) > MOVES]] = False
    known, basis = np.zeros(rows.design.shape[1], dtype=bool), np.zeros((int(stays.sum()), 0))
    for k in (*range(n_covariates, len(known)), *range(n_covariates)):
        column = rows.design[stays, k]
        residual = column - basis @ (basis.T @ column)
        residual -= basis @ (basis.T @ residual)
        known[k] = np.linalg.norm(residual) > DEPENDENT * max(1.0, np.linalg.norm(column))
        if known[k]:
            basis = np.column_stack([basis, residual / np.linalg.norm(residual)])
    return stays, known


def find_endless(outward: np.ndarray, bounds: Sequence[tuple[float, float]]) -> np.ndarray | None:
    """Find a direction along which no row of `outward` moves inward and one moves outward.

    None if there is none (Albert A, Anderson JA. Biometrika 1984;71:1-10, from memory).

    Parameters
    ----------
    outward
        For each row the direction that is outward for it, (rows, terms).
    bounds
        Least and greatest step in each term, (terms,).
    """
    solution = linprog(
        -outward.sum(axis=0),
        A_ub=-outward,
        b_ub=np.zeros(len(outward)),
        bounds=bounds,
        method="highs",
    )
    return (
        solution.x
        if solution.status == 0 and (outward @ solution.x).max(initial=0) > MOVES
        else None
    )


def score_rows(rows: Rows, coef: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """Find log-likelihood, gradient and information of the coefficients."""
    hazard = take_hazard(rows.offset + rows.design @ coef)
    value, first, second = score_hazard(hazard, rows.events, rows.failures)
    return float(value.sum()), rows.design.T @ first, -(rows.design.T * second) @ rows.design


def take_hazard(linear: np.ndarray) -> np.ndarray:
    """Take the exponential of log hazards, kept above zero.

    Infinite hazards are left to the climb, which does not go there.
    """
    with np.errstate(over="ignore"):
        return np.exp(np.maximum(linear, LEAST_LINEAR))


def climb(
    evaluate: Callable[[np.ndarray], tuple[float, np.ndarray, np.ndarray]],
    start: np.ndarray,
    enough: float = ENOUGH,
) -> Maximum:
    """Climb by Newton's steps, each shortened until the value rises.

    Whether it ended at a maximum is for a guard to say.

    Parameters
    ----------
    evaluate
        Gives value, gradient and information at a point.
    start
        Where to begin, (parameters,).
    enough
        The climb ends where gradient times step promises no more.
    """
    current = Maximum(start, *evaluate(start))
    for _ in range(STEPS):
        step = _point_uphill(current.gradient, current.information)
        if not current.gradient @ step > enough:
            break
        step /= max(1.0, np.abs(step).max() / LONGEST_STEP)
        for halving in range(HALVINGS):
            candidate = Maximum(
                current.point + step / 2**halving, *evaluate(current.point + step / 2**halving)
            )
            rise = candidate.value - current.value
            if rise > ROUNDING * abs(current.value) or (
                halving == 0 and rise >= -ROUNDING * abs(current.value)
            ):
                break
        else:
            break
        current = candidate
    return current


def collapse_rows(
    design: np.ndarray, offset: np.ndarray, event: np.ndarray, group: np.ndarray
) -> tuple[Rows, np.ndarray]:
    """Count equal rows together; the order of the given rows changes nothing.

    Parameters
    ----------
    design, offset, event
        Covariates (rows, terms), offset and whether each had the event, boolean (rows,).
    group
        Whole numbers (rows,); rows of two groups are not equal.

    Returns
    -------
    tuple
        Distinct rows with counts, and the number of the group of each.
    """
    _, first, index = find_distinct(np.column_stack([group, offset, design]))
    events, everyone = np.bincount(index, weights=event), np.bincount(index)
    return Rows(design[first], offset[first], events, everyone - events), group[first]


def find_distinct(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the distinct rows of a table of numbers, in a fixed order.

    Returns
    -------
    tuple of np.ndarray
        The distinct rows, a row of each, and for every row given the number of its distinct one.
    """
    table = np.ascontiguousarray(rows + 0.0)  # no negative zero: equal numbers have equal bytes
    keys = table.view(np.dtype((np.void, table.dtype.itemsize * table.shape[1]))).ravel()
    _, first, index = np.unique(keys, return_index=True, return_inverse=True)
    return table[first], first, index


def _point_uphill(gradient: np.ndarray, information: np.ndarray) -> np.ndarray:
    """Newton's step, turned uphill along directions in which the likelihood is not concave."""
    if not (np.isfinite(gradient).all() and np.isfinite(information).all()):
        return np.zeros_like(gradient)
    scale = np.sqrt(np.maximum(np.abs(np.diag(information)), np.finfo(float).tiny))
    curvature, axes = np.linalg.eigh(information / np.outer(scale, scale))
    curvature = np.maximum(np.abs(curvature), LEAST_CURVATURE * np.abs(curvature).max())
    return axes @ (axes.T @ (gradient / scale) / curvature) / scale
