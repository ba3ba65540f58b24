"""Limits of a share of episodes whose sites may differ.

They are exact ones, or those by leaving out each site where these reach further.

Exact limits (Clopper CJ, Pearson ES. Biometrika 1934;26:404-413) take episodes as independent.
Where sites differ they are too narrow: with 15 sites of 40 episodes and an intraclass correlation
of .05, limits of a share of .3 held in .76 of simulated pools. At a share of 0 or 1 leaving out
sites tells nothing, and the exact limits are those of fewer episodes
(pipeline/statistics/share_limits.py).
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit

from pipeline.statistics.jackknife import jackknife_covariance, limits, refit_without_each_site
from pipeline.statistics.share_limits import clopper_pearson, count_alike, discount
from schemas.study import Guards

METHOD = (
    "exact (Clopper-Pearson) intervals, or those by leaving out each site where these reach further"
)


def bound_share(happened: ArrayLike, site: ArrayLike, guards: Guards) -> tuple[float, float]:
    """Find 95 % confidence limits of a share.

    From `min_sites` sites on, their differences count too, on the logit scale.

    Parameters
    ----------
    happened
        Whether it happened, (episodes,).
    site
        The site of each episode, (episodes,).
    guards
        Threshold `min_sites`.

    Returns
    -------
    tuple of float
        Lower and upper limit.
    """
    happened, site = np.asarray(happened, dtype=bool), np.asarray(site, dtype=str)
    share, alone = happened.mean(), len(np.unique(site)) < guards.min_sites
    number = (
        len(happened) if alone or 0 < share < 1 else len(happened) * discount(count_effective(site))
    )
    exact_low, exact_high = map(float, clopper_pearson(share, number))
    if alone or share in (0, 1):
        return exact_low, exact_high
    error = site_error(site, share, lambda kept: happened[kept].mean())
    low, high = expit(limits(logit(share), error / (share * (1 - share)), count_effective(site)))
    return float(min(exact_low, low)), float(max(exact_high, high))


def site_error(site: np.ndarray, answer: float, fit: Callable[[np.ndarray], float]) -> float:
    """Find the standard error of an answer by leaving out one site at a time.

    Parameters
    ----------
    site
        The site of each episode, (episodes,).
    answer
        That of all episodes.
    fit
        Gives the answer of the episodes that a mask keeps.

    Returns
    -------
    float
        By the delete-one-site jackknife (pipeline/statistics/jackknife.py).
    """
    without = refit_without_each_site(site, lambda kept: np.array([fit(kept)]))
    return float(np.sqrt(jackknife_covariance(np.array([answer]), without)[0, 0]))


def count_effective(site: np.ndarray) -> float:
    """Count sites of equal size that tell as much as those of these episodes.

    Parameters
    ----------
    site
        The site of each episode, (episodes,).

    Returns
    -------
    float
        At least 2: pipeline.statistics.share_limits.count_alike.
    """
    return count_alike(np.unique(site, return_counts=True)[1])
