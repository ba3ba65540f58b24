"""The search for the masses of an interval-censored estimate (pipeline/statistics/npmle.py).

It takes many weights of the same observations at once.

What is searched are masses of the innermost intervals 0, 1, ...; a cell stands for all observations
around the intervals `first` to `last`. Every answer carries the proof that no gradient is above 1 +
tolerance.
"""

import numpy as np

# simulated samples of 200: survival right to 1e-5; at 1e-8 it is to 1e-4, at 1e-4 only to 1e-2
TOLERANCE = 1e-10
ITERATIONS = 100  # about 15 are needed: more than this many means that something is wrong
# each step aims at 5 % of the present gap and goes at most 99 % of the way to the boundary
CENTRING, STEP = 0.05, 0.99
# the gap from which a search near a known maximum begins: wide enough to leave a boundary again
NEAR = 1e-6
CARRIED = 1e-7  # a mass above it is carried by the data and no remnant of the search
CORRECTIONS = 5  # Newton steps on carried masses: from 1e-2 to rounding takes four
# share of the greatest curvature added to all, so that a direction without any is left as it is
RIDGE = 1e-12


class NotConverged(ArithmeticError):
    """The proof of optimality was not reached."""


def collapse_cells(
    weights: np.ndarray, first: np.ndarray, last: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Count observations around the same intervals as one.

    Parameters
    ----------
    weights
        (replicates, observations).
    first, last
        The first and the last interval inside each observation, (observations,).

    Returns
    -------
    tuple of np.ndarray
        Weights (replicates, cells), first and last (cells,).
    """
    size = last.max() + 1
    cells, cell = np.unique(first * size + last, return_inverse=True)
    order = np.argsort(cell, kind="stable")
    begins = np.searchsorted(cell[order], np.arange(len(cells)))
    return np.add.reduceat(weights[:, order], begins, axis=1), cells // size, cells % size


def _cover(first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """(cells, intervals): one where a cell holds an interval, else zero."""
    at = np.arange(last.max() + 1)
    return ((first[:, None] <= at) & (at <= last[:, None])).astype(float)


def maximise(
    weights: np.ndarray,
    first: np.ndarray,
    last: np.ndarray,
    tolerance: float,
    start: tuple | None = None,
) -> tuple[np.ndarray, np.ndarray, int]:
    """Find the masses of greatest likelihood for each row of weights.

    Parameters
    ----------
    weights
        How often each cell occurs, (replicates, cells).
    first, last
        The intervals inside each cell, (cells,).
    tolerance
        By how much the greatest gradient may be above 1.
    start
        p and z to start from, (intervals,) each; even ones if None.

    Returns
    -------
    tuple
        Mass and gradient (replicates, intervals), and the number of iterations.

    Raises
    ------
    NotConverged
        When the proof of optimality is not reached.

    Notes ----- Primal-dual interior point, as Koenker & Mizera (2014, J Am Stat Assoc 109:674-685)
    use it for non-parametric likelihoods: minimise sum(p) - sum(w log(mass inside)) over p >= 0,
    whose solution sums to 1, by Newton steps on g + z = 1, p z = target with a target that shrinks
    to zero.
    """
    size = last.max() + 1
    share, covers = weights / weights.sum(axis=1, keepdims=True), _cover(first, last)
    mass, gradient = np.empty((2, len(weights), size))
    rows = np.arange(len(weights))  # those without proof so far
    p, z = (
        np.tile(each, (len(weights), 1))
        for each in start or (np.full(size, 1 / size), np.ones(size))
    )
    for iteration in range(ITERATIONS):
        inside = p @ covers.T
        g, total = (share / inside) @ covers, p.sum(axis=1, keepdims=True)
        mass[rows], gradient[rows] = p / total, g * total
        # so written, a NaN stays unproved
        unproved = ~(gradient[rows].max(axis=1) <= 1 + tolerance)
        if not unproved.any():
            return mass, gradient, iteration
        rows, share, inside, g, p, z = (each[unproved] for each in (rows, share, inside, g, p, z))
        target = CENTRING * (p * z).mean(axis=1, keepdims=True)
        system = _curvature(share / inside**2, first, last, size)
        system[:, np.arange(size), np.arange(size)] += z / p
        try:
            step = np.linalg.solve(system, (g - 1 + target / p)[:, :, None])[:, :, 0]
        except np.linalg.LinAlgError:
            break
        slack_step = (target - z * step) / p - z
        p, z = p + _shorten(p, step) * step, z + _shorten(z, slack_step) * slack_step
    raise NotConverged("the gradient condition was not reached")


def maximise_near(
    weights: np.ndarray,
    first: np.ndarray,
    last: np.ndarray,
    known: np.ndarray,
    gradient: np.ndarray,
) -> np.ndarray:
    """Find the masses of greatest likelihood for each row of weights, near those of other weights.

    Most often the same intervals carry mass, and Newton's method on these is enough. Where the
    proof says otherwise, the interior point takes over from a place near the known maximum.

    Parameters
    ----------
    weights
        How often each cell occurs, (replicates, cells).
    first, last
        The intervals inside each cell, (cells,).
    known, gradient
        Mass and gradient of the other weights, (intervals,).

    Returns
    -------
    np.ndarray
        The masses, (replicates, intervals).

    Raises
    ------
    NotConverged
        When the proof of optimality is not reached.
    """
    mass, covers = _correct(weights, first, last, known), _cover(first, last)
    share = weights / weights.sum(axis=1, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        reached = ((share / (mass @ covers.T)) @ covers).max(axis=1) <= 1 + TOLERANCE
    unproved = ~(reached & (mass >= 0).all(axis=1))
    if unproved.any():
        slack = np.maximum(1 - gradient, 0.0)
        p = known + NEAR / (slack + np.sqrt(NEAR))
        try:
            mass[unproved] = maximise(weights[unproved], first, last, TOLERANCE, (p, NEAR / p))[0]
        except NotConverged:  # the known maximum was not near
            mass[unproved] = maximise(weights[unproved], first, last, TOLERANCE)[0]
    return mass


def _correct(
    weights: np.ndarray, first: np.ndarray, last: np.ndarray, known: np.ndarray
) -> np.ndarray:
    """Newton's steps from `known` for each row of weights, on the intervals with mass there."""
    carried = known > CARRIED
    # an observation that the known maximum gives no probability
    if not (_cover(first, last) @ carried).all():
        return np.zeros((len(weights), len(known)))
    past = np.append(0, carried.cumsum())
    cells, first, last = collapse_cells(weights, past[first], past[last + 1] - 1)
    share, covers, size = (
        cells / cells.sum(axis=1, keepdims=True),
        _cover(first, last),
        int(past[-1]),
    )
    p, at = np.tile(known[carried], (len(weights), 1)), np.arange(size)
    for _ in range(CORRECTIONS):
        inside = p @ covers.T
        system = _curvature(share / inside**2, first, last, size)
        system[:, at, at] += RIDGE * system[:, at, at].max(axis=1, keepdims=True)
        p += np.linalg.solve(system, ((share / inside) @ covers - 1)[:, :, None])[:, :, 0]
        p[~(p > 0).all(axis=1)] = known[carried]
    mass = np.zeros((len(weights), len(known)))
    mass[:, carried] = p / p.sum(axis=1, keepdims=True)
    return mass


def _curvature(ratio: np.ndarray, first: np.ndarray, last: np.ndarray, size: int) -> np.ndarray:
    """Sums of each row of ratio over the distinct runs from first to last.

    Entry (j, k) is over those that hold j and k.
    """
    by_ends = np.zeros((len(ratio), size, size))
    by_ends[:, first, last] = ratio
    upper = by_ends.cumsum(axis=1)[:, :, ::-1].cumsum(axis=2)[:, :, ::-1]  # right where j <= k
    return np.where(np.tri(size, dtype=bool).T, upper, upper.transpose(0, 2, 1))


def _shorten(value: np.ndarray, step: np.ndarray) -> np.ndarray:
    """The share of each row's step, at most 1, that keeps the row positive."""
    return STEP / np.maximum(-step / value, STEP).max(axis=1, keepdims=True)
