"""Competing events that are only known to lie between two tests, (left, right].

Only the first event counts. `fit_interval_incidence` estimates the probability of each in each band
of days; divided by the share still without event at the start of the band, that is the discrete
cause-specific hazard. It needs that whoever is no longer seen is like those who still are.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.statistics.competing_risks import demand_rows
from pipeline.statistics.npmle_search import CENTRING, ITERATIONS, STEP, TOLERANCE, NotConverged
from pipeline.statistics.share_limits import count_effective

ACTIVE = 1e-5  # a gradient this close to 1 is one: the optimiser stops within 1e-10 of it
SAME = 1e-8  # a rest below this is rounding


@dataclass(frozen=True)
class IntervalIncidence:
    """Cumulative incidence by bands of days, (edges[b], edges[b + 1]].

    Attributes
    ----------
    edges
        Edges of the bands, days, from 0.
    mass
        The probability of each event in each band, (causes, bands).
    identified
        Whether the data fix the incidence of a cause at the end of a band, and in the last row the
        share without event, (causes + 1, bands).
    effective
        Numbers of pipeline.statistics.share_limits.count_effective of the same.
    log_likelihood, max_gradient, iterations
        Of the search; the gradient is at most 1 + tolerance, which proves the maximum.
    """

    edges: np.ndarray
    mass: np.ndarray
    identified: np.ndarray
    effective: np.ndarray
    log_likelihood: float
    max_gradient: float
    iterations: int

    @property
    def incidence(self) -> np.ndarray:
        """The share that has met each event by the end of each band, (causes, bands)."""
        return self.mass.cumsum(axis=1)

    @property
    def survival(self) -> np.ndarray:
        """The share without any event at the end of each band, (bands,)."""
        return 1 - self.incidence.sum(axis=0)

    @property
    def hazard(self) -> np.ndarray:
        """The probability of each event in a band among those without one at its start.

        (causes, bands); nan where nobody is left.
        """
        before = np.append(1.0, self.survival[:-1])
        return np.divide(
            self.mass, before, out=np.full(self.mass.shape, np.nan), where=before > SAME
        )


def fit_interval_incidence(
    left: ArrayLike,
    right: ArrayLike,
    cause: ArrayLike,
    causes: int,
    edges: ArrayLike,
    weight: ArrayLike | None = None,
    tolerance: float = TOLERANCE,
) -> IntervalIncidence:
    """Estimate cumulative incidence from events that are only known to lie in (left, right].

    Within a band the incidence of each event is taken to rise evenly. If every test falls on an
    edge, this is the Aalen-Johansen estimator on the days of the tests.

    Parameters
    ----------
    left, right, cause
        Ends of the interval of each event, days, and its cause, 1, 2, ... `causes`; 0 with
        right = inf for no event when last seen.
    causes
        Number of causes.
    edges
        Rising days that begin with 0; what happens after the last is one more part.
    weight
        How often each row counts; once if None.
    tolerance
        By how much the greatest gradient may be above 1.

    Raises
    ------
    ValueError, NotConverged
        For what is no interval or cause; when the proof fails.

    Notes
    -----
    The likelihood of interval-censored competing events (Hudgens MG, Satten GA, Longini IM.
    Biometrics 2001;57:74-80) is then a mixture, linear in the masses, so its maximum is proved as
    that of pipeline.statistics.npmle is: no gradient above 1 + tolerance (Lindsay BG. Ann Stat
    1983;11:86-94, from memory).
    """
    left, cause, weight = demand_rows(left, cause, causes, weight, drop=False)
    right, edges = np.asarray(right, dtype=float), np.asarray(edges, dtype=float)
    if (
        right.shape != left.shape
        or not (left < right).all()
        or (np.isinf(right) != (cause == 0)).any()
    ):
        raise ValueError(
            "every event needs left < right < inf, and right = inf stands for no event"
        )
    if edges[0] != 0 or (np.diff(edges) <= 0).any() or not np.isfinite(edges).all():
        raise ValueError("edges must rise from 0 and be finite")
    kept = weight > 0
    rows, index = np.unique(
        np.stack([left, right, cause], axis=1)[kept], axis=0, return_inverse=True
    )
    total = np.bincount(index, weights=weight[kept])
    cover = _cover(rows, causes, edges)
    mass, gradient, iterations = _maximise(total / total.sum(), cover, tolerance)
    bands = len(edges) - 1
    # (causes * bands, masses)
    contrasts = np.kron(np.eye(causes), np.triu(np.ones((bands + 1, bands)))).T
    sums = contrasts.reshape(causes, bands, -1).sum(axis=0)
    combinations = np.concatenate([contrasts, sums])
    log_likelihood = float(total @ np.log(cover @ mass))
    return IntervalIncidence(
        edges,
        mass.reshape(causes, bands + 1)[:, :-1],
        _find_identified(cover, gradient, combinations).reshape(causes + 1, bands),
        count_effective(cover, total, mass, combinations).reshape(causes + 1, bands),
        log_likelihood,
        float(gradient.max()),
        iterations,
    )


def _cover(rows: np.ndarray, causes: int, edges: np.ndarray) -> np.ndarray:
    """The part of each band that lies in a row's interval, (rows, causes * (bands + 1)).

    For the causes that it allows; the columns of `rows` are left, right and cause. The last part of
    each cause is whatever comes after the last edge.
    """
    left, right, cause = rows.T
    begin, end = edges[:-1], edges[1:]
    inside = np.minimum(right[:, None], end) - np.maximum(left[:, None], begin)
    share = np.clip(inside / (end - begin), 0, 1)
    share = np.column_stack([share, right > edges[-1]])
    allowed = (cause[:, None] == np.arange(1, causes + 1)) | (cause[:, None] == 0)
    return (allowed[:, :, None] * share[:, None, :]).reshape(len(left), -1)


def _maximise(
    share: np.ndarray, cover: np.ndarray, tolerance: float
) -> tuple[np.ndarray, np.ndarray, int]:
    """The masses that maximise sum(share * log(cover @ mass)), their gradients, and iterations.

    The primal-dual interior point of pipeline.statistics.npmle (Koenker R, Mizera I. J Am Stat
    Assoc 2014;109:674-685), for parts of bands instead of runs of intervals.
    """
    size = cover.shape[1]
    p, z = np.full(size, 1 / size), np.ones(size)
    for iteration in range(ITERATIONS):
        inside = cover @ p
        g = (share / inside) @ cover
        gradient = g * p.sum()
        if gradient.max() <= 1 + tolerance:
            return p / p.sum(), gradient, iteration
        target = CENTRING * (p * z).mean()
        system = (cover.T * (share / inside**2)) @ cover + np.diag(z / p)
        try:
            step = np.linalg.solve(system, g - 1 + target / p)
        except np.linalg.LinAlgError:
            break
        slack_step = (target - z * step) / p - z
        p, z = p + _shorten(p, step) * step, z + _shorten(z, slack_step) * slack_step
    raise NotConverged("the gradient condition was not reached")


def _shorten(value: np.ndarray, step: np.ndarray) -> float:
    """The share of a step, at most 1, that keeps all values positive."""
    return STEP / max((-step / value).max(), STEP)


def _find_identified(cover: np.ndarray, gradient: np.ndarray, contrasts: np.ndarray) -> np.ndarray:
    """True for each sum of masses that is the same in all maxima.

    All of them give every row the same probability, and no mass to parts whose gradient is below 1,
    so a sum that those probabilities determine is fixed.
    """
    active = gradient > 1 - ACTIVE
    known = np.vstack([cover[:, active], np.ones(active.sum())])
    targets = contrasts[:, active].T
    residual = targets - known.T @ np.linalg.lstsq(known.T, targets, rcond=None)[0]
    return np.abs(residual).max(axis=0) < SAME
