"""Differences and ratios of two numbers from the limits of each.

The method is MOVER, the method of variance estimates recovery.

Limits follow from those of the two (Newcombe RG. Stat Med 1998;17:873-890; Zou GY, Donner A. Stat
Med 2008;27:1693-1702), and so exist where all or nobody of one had the event. The limits by leaving
out each site count where they reach further.
"""

from typing import NamedTuple

import numpy as np
from scipy.stats import norm

from pipeline.statistics.scales import RATIO, Scale, limit_by_sites


class Bounded(NamedTuple):
    """A number with its 95 % confidence limits.

    Attributes
    ----------
    value, low, high
        The number, its lower and its upper limit.
    """

    value: float
    low: float
    high: float


def mover_difference(first: Bounded, second: Bounded) -> Bounded:
    """Find the difference of two numbers with the limits of MOVER.

    Parameters
    ----------
    first, second
        The numbers a and b with their limits.

    Returns
    -------
    Bounded
        The second less the first, d = b - a, with limits d - sqrt((b - low_b)^2 + (high_a - a)^2)
        and d + sqrt((high_b - b)^2 + (a - low_a)^2).
    """
    value = second.value - first.value
    below = np.hypot(second.value - second.low, first.high - first.value)
    above = np.hypot(second.high - second.value, first.value - first.low)
    return Bounded(value, value - below, value + above)


def compare(
    values: np.ndarray, scale: Scale, first: Bounded, second: Bounded
) -> tuple[float, float, float, float]:
    """Compare two numbers: limits by MOVER and by leaving out each site, whichever reach further.

    Parameters
    ----------
    values
        The comparison, first of all and then without each site, (samples,).
    scale
        On RATIO it is by how many times the second number is greater, on any other what it is less
        the first.
    first, second
        The two numbers with their limits; both lie above 0 for a ratio.

    Returns
    -------
    tuple of float
        Standard error by sites, lower and upper 95 % limit, and the p-value: the greater of that by
        sites and that which goes along with the limits of the two numbers (Altman DG, Bland JM. BMJ
        2011;343:d2304).
    """
    error, low, high, p = limit_by_sites(values[0], values[1:], scale)
    if scale is RATIO:
        with np.errstate(divide="ignore"):
            mover = mover_difference(*(Bounded(*np.log(each)) for each in (first, second)))
        low, high = np.fmin(low, np.exp(mover.low)), np.fmax(high, np.exp(mover.high))
    else:
        mover = mover_difference(first, second)
        low, high = np.fmin(low, mover.low), np.fmax(high, mover.high)
    reach = mover.value - mover.low if mover.value > 0 else mover.high - mover.value
    with np.errstate(divide="ignore"):
        mover_p = (
            1.0 if mover.value == 0 else 2 * norm.sf(norm.ppf(0.975) * np.abs(mover.value) / reach)
        )
    return error, float(low), float(high), float(np.fmax(p, mover_p))
