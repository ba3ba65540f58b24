"""What the limits of a share tell of how many people it is one: these are exact, or reach further,
so few numbers fit the printed ones.

Of s people of whom k have the event the lower exact limit is at least L just if k or more of s are
met with a probability of at most 2.5 % where the true share is L (Clopper CJ, Pearson ES.
Biometrika 1934;26:404-413), and likewise the upper one. A share in whole percent leaves each size
of a group a few k; where no k fits its limits, the group has another size, and all shares of one
group must fit the same one.
"""

from functools import lru_cache

import numpy as np
from scipy.special import bdtr, bdtrik

TAIL = 0.025  # on each side of 95 % confidence limits
MOST_SIZES = 200  # of a group of which next to nothing is known, limits tell nothing more
BLOCK = 256  # sizes that are worked out at once
CLOSE = 1e-9


def narrow_by_limits(least: np.ndarray, most: np.ndarray, shares: np.ndarray) -> None:
    """Narrow, in place, how many each cell can be by the limits of shares.

    What fits no number is passed over.

    Parameters
    ----------
    least, most
        How many each cell can be, (cells,); changed.
    shares
        Number of the part, number of the whole, least and greatest share, least and greatest that
        the limits can be, (shares, 6); limits of 0 and 1 tell nothing.
    """
    limited = shares[(shares[:, 4] > 0) | (shares[:, 5] < 1)]
    for whole in np.unique(limited[:, 1]).astype(int):
        if not 0 < least[whole] <= most[whole] < least[whole] + MOST_SIZES:
            continue
        of_whole = limited[limited[:, 1] == whole]
        part = of_whole[:, 0].astype(int)
        sizes = np.arange(int(least[whole]), int(most[whole]) + 1)
        fewest, largest = count_events(of_whole[:, 2:], sizes)
        fewest, largest = (
            np.maximum(fewest, least[part, None]),
            np.minimum(largest, most[part, None]),
        )
        fits = (fewest <= largest).all(axis=0)
        if fits.any():
            least[whole], most[whole] = sizes[fits].min(), sizes[fits].max()
            np.maximum.at(least, part, fewest[:, fits].min(axis=1))
            np.minimum.at(most, part, largest[:, fits].max(axis=1))


def count_events(shares: np.ndarray, sizes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Count how many can have the event.

    Parameters
    ----------
    shares
        Least and greatest share, and least and greatest that the limits can be, (shares, 4).
    sizes
        Consecutive numbers of people in the group, (sizes,).

    Returns
    -------
    tuple of np.ndarray
        At least and at most, (shares, sizes) each.
    """
    first = sizes[0] // BLOCK
    blocks = range(first, sizes[-1] // BLOCK + 1)
    counted = [
        np.concatenate([_count_block(*share, block) for block in blocks], axis=1)
        for share in shares
    ]
    fewest, largest = np.array(counted)[:, :, sizes - first * BLOCK].transpose(1, 0, 2)
    return fewest, largest


@lru_cache(maxsize=4096)
def _count_block(low: float, high: float, lower: float, upper: float, block: int) -> np.ndarray:
    """The least and the greatest number with the event for each size of one block: (2, BLOCK)."""
    sizes = np.arange(block * BLOCK, (block + 1) * BLOCK)
    fewest = np.maximum(np.ceil(low * sizes - CLOSE), _reach_limit(sizes, lower))
    largest = np.minimum(np.floor(high * sizes + CLOSE), sizes - _reach_limit(sizes, 1 - upper))
    return np.array([fewest, largest])


def _reach_limit(sizes: np.ndarray, limit: float) -> np.ndarray:
    """The fewest of so many of whom the lower exact limit is at least `limit`."""
    if limit <= 0:
        return np.zeros(len(sizes))
    # the quantile of the binomial distribution
    before = np.maximum(np.ceil(bdtrik(1 - TAIL, sizes, limit)), 0)
    before = np.where(
        (before > 0) & (bdtr(before - 1, sizes, limit) >= 1 - TAIL), before - 1, before
    )
    return before + 1
