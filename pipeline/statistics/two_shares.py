"""Differences and ratios of two numbers from the limits of each (MOVER, the method of variance
estimates recovery).

Limits follow from those of the two (Newcombe RG. Stat Med 1998;17:873-890; Zou GY, Donner A. Stat
Med 2008;27:1693-1702), and so exist where all or nobody of one had the event. The limits by leaving
out each site count where they reach further.
"""

from typing import NamedTuple

import numpy as np
from scipy.stats import norm

from pipeline.statistics.scales import RATIO, Scale, limit_by_sites


class Bounded(NamedTuple):
    """A number with its 95 % confidence limits."""

    value: float
    low: float
    high: float


def mover_difference(first: Bounded, second: Bounded) -> Bounded:
    """The second less the first, d = b - a, with the limits of MOVER:
    d - sqrt((b - low_b)^2 + (high_a - a)^2) and d + sqrt((high_b - b)^2 + (a - low_a)^2)."""
    value = second.value - first.value
    below = np.hypot(second.value - second.low, first.high - first.value)
    above = np.hypot(second.high - second.value, first.value - first.low)
    return Bounded(value, value - below, value + above)


def compare(
    values: np.ndarray, scale: Scale, first: Bounded, second: Bounded
) -> tuple[float, float, float, float]:
    """Standard error, limits and p-value of what the second number is less the first, or,
    on the scale RATIO, by how many times it is greater.

    `values` (samples,) are the comparison, first of all and then without each site. The p-value is
    the greater of that by sites and that which goes along with the limits of the two numbers
    (Altman DG, Bland JM. BMJ 2011;343:d2304). Both numbers lie above 0 for a ratio.
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
