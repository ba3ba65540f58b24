"""Effects of sites on the complementary log-log scale of a chance, pooled and told as rows: their mean and the numbers of sites.

How far sites differ is planned and withdrawn. Whoever was helped is known to be well only at the next test, and whoever was not is treated
again at that test. Where sites test on different days both make equal sites differ. In 40 simulated pools each of equal sites that test
first on day 1, 3, 7, 14 or 28 and treat again on the day of a positive test, a test of equality at 5 % rejected in nearly all for shares by
day 7 and by day 30, and in up to a fifth for success of the first session, though the time to the look is taken into account there; where
sites differ in how soon patients with symptoms come back, it rejected in nearly all as well. So the variance between sites, its share of
all variance, and the range for a further site have a status, and no site has a number of its own.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import norm

from pipeline.models.guard import Refusal, check_sites
from pipeline.models.meta import Pool, pool_random_effects
from pipeline.models.npmle_search import NotConverged
from pipeline.models.scales import SHARE, state_within
from pipeline.models.shares import WORTH_SAYING
from pipeline.models.tidy import state, withhold
from schemas.study import Guards

MEAN = "restricted likelihood; Hartung-Knapp limits"
PREDICTION = "restricted likelihood; prediction interval for a further site"
SPREAD = "restricted likelihood; Q-profile limits"
COUNT = "count"
LARGEST = 700.0  # the exponential of more is no number; the chance is one long before
TEST_DAYS = Refusal(
    "not_identified",
    "withdrawn: sites test on different days, which alone makes equal sites look different, and nothing tells the one from the other",
)
MISSING = "sites with enough episodes, but of which too little is known, are not among them, which may shift the mean"


@dataclass(frozen=True)
class Effects:
    """One effect and variance per pooled site, by the least and by the most that the data allow, and what their pool stands for."""

    least: np.ndarray
    most: np.ndarray
    variances: np.ndarray
    counts: dict[str, int]
    note: str | None = None


def tell_pool(
    term: str, effects: Effects, n_seen: int, guards: Guards, refusal: Refusal | None = None
) -> Iterator[dict]:
    """The rows of one pool out of `n_seen` sites; where the data allow more than one share, the limits reach around both pools."""
    where = {"stratum": "all", **effects.counts}
    pooled = effects.counts["n_sites"]
    yield state(f"{term}_sites_pooled", pooled, method=COUNT, **where)
    yield state(f"{term}_sites_not_pooled", n_seen - pooled, method=COUNT, **where)
    pools = refusal or _pool(effects, guards)
    if isinstance(pools, Refusal):
        yield withhold(term, pools.status, pools.note, method=MEAN, **where)
    else:
        least, most = pools
        low, high, said = to_share(least.lower), to_share(most.upper), _say(least, most, effects.note)
        yield state_within(term, to_share(least.estimate), low, high, SHARE, guards, note=said, method=MEAN, **where)
    for name, method in {"further_site": PREDICTION, "tau2": SPREAD, "i2": SPREAD}.items():
        yield withhold(f"{term}_{name}", TEST_DAYS.status, TEST_DAYS.note, method=method, **where)


def wald_limits(effect: float, error: float) -> tuple[float, float]:
    """95 % limits of the chance that an effect stands for."""
    reach = norm.ppf(0.975) * error
    return to_share(effect - reach), to_share(effect + reach)


def to_scale(share: ArrayLike) -> np.ndarray:
    """The effect of a chance: log(-log(1 - chance))."""
    return np.log(-np.log1p(-np.asarray(share, dtype=float)))


def to_share(effect: float) -> float:
    """The chance of an effect."""
    return float(-np.expm1(-np.exp(min(effect, LARGEST))))


def slope_of_share(share: ArrayLike) -> np.ndarray:
    """Change of a chance by its effect."""
    share = np.asarray(share, dtype=float)
    return -(1 - share) * np.log1p(-share)


def _pool(effects: Effects, guards: Guards) -> tuple[Pool, Pool] | Refusal:
    refusal = check_sites(effects.counts["n_sites"], guards)
    if refusal:
        return refusal
    try:
        least, most = (pool_random_effects(edge, effects.variances) for edge in (effects.least, effects.most))
    except NotConverged as failure:
        return Refusal("not_converged", str(failure))
    return least, most


def _say(least: Pool, most: Pool, note: str | None) -> str | None:
    """What to keep in mind: what the number is for, an interval of no information, and limits narrower than plain ones."""
    low, high = to_share(least.estimate), to_share(most.estimate)
    between = f"the data allow {low:.3f} to {high:.3f}; the lower is given" if high - low >= WORTH_SAYING else None
    plain = wald_limits(least.estimate, least.std_error / np.sqrt(least.hk_scale)) if least.hk_scale > 0 else (0.0, 1.0)
    narrower = plain[1] - plain[0] - (to_share(least.upper) - to_share(least.lower)) >= WORTH_SAYING
    said = f"sites differ less than chance lets expect; plain limits are {plain[0]:.3f} to {plain[1]:.3f}"
    return "; ".join(filter(None, [note, between, said if narrower else None])) or None
