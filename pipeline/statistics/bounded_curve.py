"""One curve of a time that lies between two tests, and its limits.

It has the least and the greatest share that is left on each day.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.statistics.leave_out import leave_out_weights
from pipeline.statistics.npmle import Npmle, collapse_intervals, fit_many, fit_npmle
from pipeline.statistics.share_limits import ShareBounds, bound_share, count_effective, keep_falling


@dataclass(frozen=True)
class BoundedCurve:
    """A curve of a time that lies between two tests.

    Attributes
    ----------
    fit
        The fitted distribution.
    lower, upper
        The least and the greatest share that is left on the days it was asked for.
    """

    fit: Npmle
    lower: ShareBounds
    upper: ShareBounds


def bound_curve(rows: pd.DataFrame, days: np.ndarray) -> BoundedCurve:
    """Estimate the curve and its limits.

    Parameters
    ----------
    rows
        Episodes with `left_days`, `right_days`, `patient_id` and `site`.
    days
        The days asked for, rising.

    Returns
    -------
    BoundedCurve
        Shares with limits that never rise.

    Raises
    ------
    NotConverged
        Where a fit is not proved.
    """
    left, right, index = collapse_intervals(rows["left_days"], rows["right_days"])
    weights, repeats = leave_out_weights(
        index, rows["patient_id"].to_numpy(str), rows["site"].to_numpy(str)
    )
    without, sizes = fit_many(left, right, weights, days), len(rows) - weights.sum(axis=1)
    count = np.bincount(index).astype(float)
    fit = fit_npmle(left, right, count)
    shares, numbers = fit.survival(days), count_effective_days(fit, left, right, count, days)
    lower, upper = (
        keep_falling(bound_share(share, replicates, repeats, sizes, number))
        for share, replicates, number in zip(
            shares, (without.lower, without.upper), numbers, strict=True
        )
    )
    return BoundedCurve(fit, lower, upper)


def count_effective_days(
    fit: Npmle, left: np.ndarray, right: np.ndarray, weight: np.ndarray, days: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Find the effective numbers of the least and the greatest share that is left on each day.

    A share of 0 or 1 could also be wrong by mass at a place without any: just before or just after
    a day, outside of the fit's intervals.

    Parameters
    ----------
    fit
        The fitted distribution.
    left, right
        Ends of the distinct observations (left, right], days.
    weight
        How often each occurs.
    days
        The days asked for.

    Returns
    -------
    tuple of np.ndarray
        The numbers of the least and of the greatest share, (days,) each
        (pipeline.statistics.share_limits.count_effective).
    """
    day = np.asarray(days, dtype=float)
    begin, end = left[:, None], right[:, None]
    at = (
        (begin < day)
        & (day <= end)
        & ~((fit.left[:, None] < day) & (day <= fit.right[:, None])).any(axis=0)
    )
    after = (
        (begin <= day)
        & (day < end)
        & ~((fit.left[:, None] <= day) & (day < fit.right[:, None])).any(axis=0)
    )
    cover = np.hstack([(begin <= fit.left) & (fit.right <= end), at, after]).astype(float)
    mass = np.append(fit.mass, np.zeros(2 * len(day)))
    later = np.hstack([day > day[:, None], day >= day[:, None]])
    remaining = fit.left >= day[:, None], fit.right > day[:, None]
    return tuple(
        count_effective(cover, weight, mass, np.hstack([masses, later]).astype(float))
        for masses in remaining
    )
