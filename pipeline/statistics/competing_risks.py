"""Competing events whose days are known: the share that has met each by a day.

Only the first of them counts; the curves are lifelines'. Where an event is only known to lie
between two tests, pipeline.statistics.interval_incidence does the same. Both need that whoever is
no longer seen is like those who still are.
"""

from dataclasses import dataclass

import numpy as np
from lifelines import AalenJohansenFitter, KaplanMeierFitter
from numpy.typing import ArrayLike


@dataclass(frozen=True)
class Incidence:
    """Cumulative incidence as step functions.

    Attributes
    ----------
    days
        The days on which they jump.
    survival, incidence
        The share without any event (days,) and that which has met each (causes, days).
    """

    days: np.ndarray
    survival: np.ndarray
    incidence: np.ndarray

    def at(self, day: float) -> tuple[float, np.ndarray]:
        """Find survival and incidences, (causes,), at the end of `day`.

        Before the first jump they are 1 and 0.
        """
        k = np.searchsorted(self.days, day, side="right") - 1
        return (
            (1.0, np.zeros(len(self.incidence)))
            if k < 0
            else (float(self.survival[k]), self.incidence[:, k])
        )


def fit_aalen_johansen(
    time: ArrayLike, cause: ArrayLike, causes: int, weight: ArrayLike | None = None
) -> Incidence:
    """Estimate cumulative incidence from days that are known.

    Each fall of the Kaplan-Meier curve of any event, by lifelines, belongs to the one cause of its
    moment: F_k(t) = sum over days s <= t of S(s-) d_k(s) / n(s) (Aalen OO, Johansen S. Scand J Stat
    1978;5:141-150). Standard errors have a function of their own, `aalen_johansen_errors`.

    Parameters
    ----------
    time
        Days of the event, or of when a row was last seen, (rows,).
    cause
        1, 2, ... `causes`, or 0 for not seen any longer, (rows,).
    causes
        Number of causes.
    weight
        A whole number that counts a row that many times; once if None.

    Raises
    ------
    ValueError
        For negative or missing times, unknown causes, and weights that do not add up to anything.
    """
    time, cause, weight = demand_rows(time, cause, causes, weight)
    days, moment, last = _untie(time, cause, causes)
    curve = KaplanMeierFitter().fit(moment, cause > 0, weights=weight)
    survival = curve.survival_function_at_times(np.arange(last[-1] + 1)).to_numpy()
    falls = -np.diff(survival).reshape(len(days), causes + 1)
    return Incidence(days, survival[last], falls[:, :causes].cumsum(axis=0).T)


def aalen_johansen_errors(
    time: ArrayLike, cause: ArrayLike, causes: int, weight: ArrayLike | None = None
) -> np.ndarray:
    """Find standard errors of the incidences of `fit_aalen_johansen`, by lifelines.

    Parameters are the same. Greenwood's by the delta method (Collett D. Modelling Survival Data in
    Medical Research, from memory).

    Returns
    -------
    np.ndarray
        On the days of that fit, (causes, days); nan from the day on which nobody is left.
    """
    time, cause, weight = demand_rows(time, cause, causes, weight)
    _, moment, last = _untie(time, cause, causes)
    fits = (
        AalenJohansenFitter().fit(moment, cause, k, weights=weight) for k in range(1, causes + 1)
    )
    return np.array(
        [
            np.sqrt(fit.variance_.to_numpy()[np.searchsorted(fit.timeline, last, side="right") - 1])
            for fit in fits
        ]
    )


def _untie(
    time: np.ndarray, cause: np.ndarray, causes: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The days, the moment of each row, and the last moment of each day.

    Whoever leaves unseen on a day was at risk on it. lifelines moves tied events of different
    causes at random, past those who leave. So a day has a moment for each cause, one after another,
    and a last one for those who leave: as nobody leaves between, no increment changes.
    """
    days, index = np.unique(time, return_inverse=True)
    moment = index * (causes + 1) + np.where(cause > 0, cause, causes + 1)
    return days, moment, (np.arange(len(days)) + 1) * (causes + 1)


def demand_rows(
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
    return (
        (time[weight > 0], cause[weight > 0], weight[weight > 0]) if drop else (time, cause, weight)
    )
