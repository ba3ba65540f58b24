"""Draws that numpy does not offer in one call: all take a generator,
so that the same seed gives the same pool."""

import numpy as np


def pick(rng: np.random.Generator, weights: np.ndarray) -> np.ndarray:
    """One column per row with probabilities in proportion to that row's weights: (rows, columns)
    -> (rows,) of column numbers.
    """
    cumulative = np.cumsum(weights, axis=1)
    height = rng.random(len(weights)) * cumulative[:, -1]
    return np.minimum((height[:, None] >= cumulative).sum(axis=1), weights.shape[1] - 1)


def pick_one(rng: np.random.Generator, weights: dict[str, float], count: int) -> np.ndarray:
    """`count` names, each with a probability in proportion to its weight: (count,) of text."""
    shares = np.array(list(weights.values()), float)
    return np.array(list(weights), dtype=object)[
        rng.choice(len(shares), count, p=shares / shares.sum())
    ]


def gamma(rng: np.random.Generator, moments: np.ndarray, count: int) -> np.ndarray:
    """`count` gamma draws of the given mean and standard deviation (shape (mean/sd)^2, scale
    sd^2/mean)."""
    mean, sd = moments.T
    return rng.gamma((mean / sd) ** 2, sd**2 / mean, count)


def chance(rng: np.random.Generator, probability: np.ndarray | float, count: int) -> np.ndarray:
    """`count` independent trials, True with the given probability."""
    return rng.random(count) < probability


def blank(rng: np.random.Generator, values: np.ndarray, share: float) -> np.ndarray:
    """A copy in which a share of the entries is not recorded: None in text,
    not-a-number in numbers."""
    empty = None if values.dtype == object else np.nan
    kept = values.copy() if values.dtype == object else values.astype(float)
    kept[rng.random(len(values)) < share] = empty
    return kept
