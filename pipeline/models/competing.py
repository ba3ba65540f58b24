"""Competing events: the share that has met each of several events by a day, when only the first of them counts.

Two estimators, for two kinds of knowledge. Where the day of an event is known, `fit_aalen_johansen` multiplies the shares that leave
on each day. Where an event is only known to lie between two looks, (left, right], `fit_look_incidence` estimates the chance of each
event in each band of days; divided by the share still without event at the start of the band, that chance is the discrete
cause-specific hazard. Both need that whoever is no longer seen is like those who still are.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.models.npmle_search import CENTRING, ITERATIONS, STEP, TOLERANCE, NotConverged
from pipeline.models.share_limits import count_effective

ACTIVE = 1e-5  # a gradient this close to 1 is one: the optimiser stops within 1e-10 of it
SAME = 1e-8  # a rest below this is rounding


@dataclass(frozen=True)
class Incidence:
    """Step functions that jump on `days`: `survival` without any event, (days,), `incidence` and its `std_error`, (causes, days)."""

    days: np.ndarray
    survival: np.ndarray
    incidence: np.ndarray
    std_error: np.ndarray

    def at(self, day: float) -> tuple[float, np.ndarray, np.ndarray]:
        """Survival, incidences and their standard errors at the end of `day`; before the first jump 1, 0 and 0."""
        k = np.searchsorted(self.days, day, side="right") - 1
        if k < 0:
            return 1.0, np.zeros(len(self.incidence)), np.zeros(len(self.incidence))
        return float(self.survival[k]), self.incidence[:, k], self.std_error[:, k]


@dataclass(frozen=True)
class LookIncidence:
    """The chance `mass` of each event in each band, (causes, bands), with bands (edges[b], edges[b + 1]].

    `identified` tells whether the data fix the incidence of a cause at the end of a band, and in the last row the share without event,
    (causes + 1, bands); `effective` has the numbers of pipeline.models.share_limits.count_effective of the same.
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
        """The chance of each event in a band among those without one at its start, (causes, bands); nan where nobody is left."""
        before = np.append(1.0, self.survival[:-1])
        return np.divide(self.mass, before, out=np.full(self.mass.shape, np.nan), where=before > SAME)


def fit_aalen_johansen(time: ArrayLike, cause: ArrayLike, causes: int, weight: ArrayLike | None = None) -> Incidence:
    """Cumulative incidence from days that are known; `cause` is 1, 2, ... `causes`, or 0 for not seen any longer.

    Events of one day are tied, and whoever leaves unseen on that day was at risk on it. A weight counts a row that many times, in
    the standard error too. Aalen OO, Johansen S. Scand J Stat 1978;5:141-150; variance by the delta method on multinomial
    increments (Greenwood's for one cause; the form is that of Allignol A et al. Biom J 2010;52:126-137, from memory).
    Raises ValueError for negative or missing times, unknown causes, and weights that do not add up to anything.
    """
    time, cause, weight = _demand_rows(time, cause, causes, weight)
    days, index = np.unique(time, return_inverse=True)
    counts = np.zeros((causes + 1, len(days)))
    np.add.at(counts, (cause, index), weight)
    at_risk = counts.sum(axis=0)[::-1].cumsum()[::-1]
    hazard = counts[1:] / at_risk
    stay = counts[0] + np.append(at_risk[1:], 0.0)  # so written, nobody left is zero, not rounding
    survival = (stay / at_risk).cumprod()
    before = np.append(1.0, survival[:-1])
    incidence = (before * hazard).cumsum(axis=1)
    variance = np.array(
        [_sum_variance(before, hazard, row, stay / at_risk, at_risk, k) for k, row in enumerate(incidence)]
    )
    return Incidence(days, survival, incidence, np.sqrt(np.maximum(variance, 0)))


def _sum_variance(
    before: np.ndarray, hazard: np.ndarray, incidence: np.ndarray, stay: np.ndarray, at_risk: np.ndarray, k: int
) -> np.ndarray:
    """The variance of the incidence of cause k on each day: what the events of each earlier day s add to it on day t."""
    any_cause = hazard.sum(axis=0)
    later = np.maximum(incidence - incidence[:, None], 0)  # (s, t); zero where s is not before t
    past = np.tri(len(incidence), dtype=bool).T
    lost = np.divide(any_cause, stay, out=np.zeros_like(stay), where=stay > 0)
    own = before**2 * hazard[k] * (1 - hazard[k])
    added = own[:, None] - 2 * (before * hazard[k])[:, None] * later + lost[:, None] * later**2
    return (added / at_risk[:, None] * past).sum(axis=0)


def fit_look_incidence(
    left: ArrayLike,
    right: ArrayLike,
    cause: ArrayLike,
    causes: int,
    edges: ArrayLike,
    weight: ArrayLike | None = None,
    tolerance: float = TOLERANCE,
) -> LookIncidence:
    """Cumulative incidence from events that are only known to lie in (left, right].

    `cause` is 1, 2, ... `causes`, or 0 with right = inf for no event when last seen. `edges` are rising days that begin with 0; what
    happens after the last is one more part. Within a band the incidence of each event is taken to rise evenly. The likelihood of
    interval-censored competing events (Hudgens MG, Satten GA, Longini IM. Biometrics 2001;57:74-80) is then a mixture, linear in
    the masses, so its maximum is proved as that of pipeline.models.npmle is: no gradient above 1 + tolerance (Lindsay BG. Ann Stat
    1983;11:86-94, from memory). If every look falls on an edge, this is the Aalen-Johansen estimator on the days of the looks.
    Raises ValueError for what is no interval or cause, NotConverged when the proof fails.
    """
    left, cause, weight = _demand_rows(left, cause, causes, weight, drop=False)
    right, edges = np.asarray(right, dtype=float), np.asarray(edges, dtype=float)
    if right.shape != left.shape or not (left < right).all() or (np.isinf(right) != (cause == 0)).any():
        raise ValueError("every event needs left < right < inf, and right = inf stands for no event")
    if edges[0] != 0 or (np.diff(edges) <= 0).any() or not np.isfinite(edges).all():
        raise ValueError("edges must rise from 0 and be finite")
    kept = weight > 0
    rows, index = np.unique(np.stack([left, right, cause], axis=1)[kept], axis=0, return_inverse=True)
    total = np.bincount(index, weights=weight[kept])
    cover = _cover(*rows.T, causes, edges)
    mass, gradient, iterations = _maximise(total / total.sum(), cover, tolerance)
    bands = len(edges) - 1
    contrasts = np.kron(np.eye(causes), np.triu(np.ones((bands + 1, bands)))).T  # (causes * bands, masses)
    sums = contrasts.reshape(causes, bands, -1).sum(axis=0)
    asked = np.concatenate([contrasts, sums])
    log_likelihood = float(total @ np.log(cover @ mass))
    return LookIncidence(
        edges,
        mass.reshape(causes, bands + 1)[:, :-1],
        _find_identified(cover, gradient, asked).reshape(causes + 1, bands),
        count_effective(cover, total, mass, asked).reshape(causes + 1, bands),
        log_likelihood,
        float(gradient.max()),
        iterations,
    )


def _cover(left: np.ndarray, right: np.ndarray, cause: np.ndarray, causes: int, edges: np.ndarray) -> np.ndarray:
    """(rows, causes * (bands + 1)): the part of each band that lies in a row's interval, for the causes that it allows.

    The last part of each cause is whatever comes after the last edge.
    """
    begin, end = edges[:-1], edges[1:]
    inside = np.minimum(right[:, None], end) - np.maximum(left[:, None], begin)
    share = np.clip(inside / (end - begin), 0, 1)
    share = np.column_stack([share, right > edges[-1]])
    allowed = (cause[:, None] == np.arange(1, causes + 1)) | (cause[:, None] == 0)
    return (allowed[:, :, None] * share[:, None, :]).reshape(len(left), -1)


def _maximise(share: np.ndarray, cover: np.ndarray, tolerance: float) -> tuple[np.ndarray, np.ndarray, int]:
    """The masses that maximise sum(share * log(cover @ mass)), the gradient of each, and the iterations.

    The primal-dual interior point of pipeline.models.npmle (Koenker R, Mizera I. J Am Stat Assoc 2014;109:674-685), for parts of
    bands instead of runs of intervals.
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
    """True for each sum of masses that is the same in all maxima: all of them give every row the same chance, and no mass to parts
    whose gradient is below 1, so a sum that those chances determine is fixed."""
    active = gradient > 1 - ACTIVE
    known = np.vstack([cover[:, active], np.ones(active.sum())])
    asked = contrasts[:, active].T
    rest = asked - known.T @ np.linalg.lstsq(known.T, asked, rcond=None)[0]
    return np.abs(rest).max(axis=0) < SAME


def _demand_rows(
    time: ArrayLike, cause: ArrayLike, causes: int, weight: ArrayLike | None, drop: bool = True
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Checked times, causes and weights; rows of weight zero are left out if `drop`."""
    time, cause = np.asarray(time, dtype=float), np.asarray(cause, dtype=int)
    weight = np.ones(len(time)) if weight is None else np.asarray(weight, dtype=float)
    if time.ndim != 1 or time.shape != cause.shape or time.shape != weight.shape:
        raise ValueError("times, causes and weights must be lists of the same length")
    if not ((time >= 0) & np.isfinite(time)).all() or not ((cause >= 0) & (cause <= causes)).all():
        raise ValueError("times must be finite and not negative, and causes known")
    if not (np.isfinite(weight) & (weight >= 0)).all() or not weight.sum() > 0:
        raise ValueError("weights must be finite, not negative, and not all zero")
    return (time[weight > 0], cause[weight > 0], weight[weight > 0]) if drop else (time, cause, weight)
