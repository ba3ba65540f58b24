"""Effects of sites on the complementary log-log scale of a probability, pooled and told as rows:
their mean and the numbers of sites.

How far sites differ is planned and withdrawn. Whoever was helped is known to be well only at the
next test, and whoever was not is treated again at that test. Where sites test on different days
both make equal sites differ. In 40 simulated pools each of equal sites that test first on day 1, 3,
7, 14 or 28 and treat again on the day of a positive test, a test of equality at 5 % rejected in
nearly all for shares by day 7 and by day 30, and in up to a fifth for success of the first session,
though the time to the test is taken into account there; where sites differ in how soon patients
with symptoms come back, it rejected in nearly all as well. So the variance between sites, its share
of all variance, and the prediction interval for a further site have a status, and no site has a
share of its own. How far sites differ is told by pipeline/analyses/sites/monitoring.py, with the
days of tests in the model.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import norm

from pipeline.statistics.guard import Refusal, check_sites
from pipeline.statistics.meta import Pool, pool_random_effects
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.tidy import Fields, state, withhold
from schemas.study import Guards

MEAN = "restricted likelihood; Hartung-Knapp intervals"
PREDICTION = "restricted likelihood; prediction interval for a further site"
SPREAD = "restricted likelihood; Q-profile intervals"
COUNT = "count"
LARGEST = 700.0  # the exponential of more is no number; the probability is one long before
TEST_DAYS = Refusal(
    "not_identified",
    "withdrawn: sites test on different days, which alone makes shares of equal sites look "
    "different; how far sites differ is told by their rates of resolution",
)
MISSING = Refusal(
    "not_identified",
    "sites with enough episodes, but of which too little is known, are not among them, which may "
    "shift the mean",
)
WORTH_SAYING = 0.005  # a difference of widths that a reader would see


@dataclass(frozen=True)
class PooledShare:
    """The mean over sites as a share.

    Attributes
    ----------
    share
        The mean.
    low, high
        Its 95 % confidence limits.
    note
        What a reader is to keep in mind.
    """

    share: float
    low: float
    high: float
    note: str | None = None


def state_pool(
    term: str,
    pooled: PooledShare | Refusal,
    counts: Fields,
    n_seen: int,
    guards: Guards,
    method: str = MEAN,
) -> Iterator[dict]:
    """State all rows of one pool.

    Parameters
    ----------
    term
        What is pooled, as declared in schemas.declared.sites.
    pooled
        The mean, or why there is none.
    counts
        n_episodes, n_events, n_sites and by_site of the sites in the pool.
    n_seen
        Number of sites that have episodes at all, in the pool or not.
    guards
        Thresholds.
    method
        How the mean was found.

    Yields
    ------
    dict
        Numbers of sites in the pool and outside it, the mean, and the withdrawn quantities of how
        far sites differ, each of stratum all.
    """
    fields: Fields = {"stratum": "all", **counts}
    yield state(f"{term}_sites_pooled", counts["n_sites"], method=COUNT, **fields)
    yield state(f"{term}_sites_not_pooled", n_seen - counts["n_sites"], method=COUNT, **fields)
    if isinstance(pooled, Refusal):
        yield withhold(term, pooled.status, pooled.note, method=method, **fields)
    else:
        ends = pooled.low, pooled.high
        yield state_within(
            term, pooled.share, *ends, SHARE, guards, note=pooled.note, method=method, **fields
        )
    for name, spread_method in {"further_site": PREDICTION, "tau2": SPREAD, "i2": SPREAD}.items():
        yield withhold(
            f"{term}_{name}", TEST_DAYS.status, TEST_DAYS.note, method=spread_method, **fields
        )


def pool_effects(
    effects: np.ndarray, variances: np.ndarray, guards: Guards, note: str | None = None
) -> PooledShare | Refusal:
    """Pool effects of sites by restricted likelihood, back as a share.

    Parameters
    ----------
    effects, variances
        The effect of each site, log(-log(1 - share)), and its variance, (sites,).
    guards
        Thresholds.
    note
        What a reader is to keep in mind of each effect.

    Returns
    -------
    PooledShare or Refusal
        The mean with Hartung-Knapp limits (pipeline/statistics/meta.py).
    """
    refusal = check_sites(len(effects), guards)
    if refusal:
        return refusal
    try:
        pool = pool_random_effects(effects, variances)
    except NotConverged as failure:
        return Refusal("not_converged", str(failure))
    share, low, high = (to_share(effect) for effect in (pool.estimate, pool.lower, pool.upper))
    notes = "; ".join(filter(None, [note, _say_narrow(pool)])) or None
    return PooledShare(share, low, high, notes)


def wald_limits(effect: float, error: float) -> tuple[float, float]:
    """95 % confidence limits of the probability that an effect stands for."""
    reach = norm.ppf(0.975) * error
    return to_share(effect - reach), to_share(effect + reach)


def to_scale(share: ArrayLike) -> np.ndarray:
    """The effect of a probability: log(-log(1 - chance))."""
    return np.log(-np.log1p(-np.asarray(share, dtype=float)))


def to_share(effect: float) -> float:
    """The probability of an effect."""
    return float(-np.expm1(-np.exp(min(effect, LARGEST))))


def _say_narrow(pool: Pool) -> str | None:
    """The plain limits, where those of the pool are narrower."""
    plain = (
        wald_limits(pool.estimate, pool.std_error / np.sqrt(pool.hk_scale))
        if pool.hk_scale > 0
        else (0.0, 1.0)
    )
    if plain[1] - plain[0] - (to_share(pool.upper) - to_share(pool.lower)) < WORTH_SAYING:
        return None
    return (
        f"sites differ less than expected by chance; the plain interval is {plain[0]:.3f} to "
        f"{plain[1]:.3f}"
    )
