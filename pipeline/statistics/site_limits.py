"""Limits of a share of episodes whose sites may differ: exact ones,
or those by leaving out each site where these reach further.

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
    """95 % confidence limits of the share of `happened` (episodes,); from `min_sites` sites on,
    their differences count too, on the logit scale."""
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
    """Standard error of an answer by leaving out one site at a time;
    `fit` gives the answer of the episodes that a mask keeps."""
    without = refit_without_each_site(site, lambda kept: np.array([fit(kept)]))
    return float(np.sqrt(jackknife_covariance(np.array([answer]), without)[0, 0]))


def count_effective(site: np.ndarray) -> float:
    """So many sites of equal size tell as much; at least 2."""
    return count_alike(np.unique(site, return_counts=True)[1])
