"""The share resolved by a day in one group of first spells: of a site, or of those who began with the same maneuver.

Estimated is P(resolution on or before the day) for the first spells of positional episodes that were followed, counted from the first
attempt. Resolution lies between two looks, so the estimator is that of the curves. Its limits come from a bootstrap of sites, then
patients; of patients where there is one site, which the jackknife over sites of the curves cannot serve. For a part of several sites
they are a little wider than those of the curves (tests/recovery/README.md).
"""

import zlib
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.models.bootstrap import cluster_bootstrap_weights
from pipeline.models.counts import EPISODE
from pipeline.models.guard import Refusal, check_size
from pipeline.models.npmle import NotConverged, Replicates, collapse_intervals, fit_many, fit_npmle
from schemas.study import Study

FOLLOWED = ("resolved", "unresolved")
LIMITS = (0.025, 0.975)
WORTH_SAYING = 0.005  # a difference between least and most that a reader would see


@dataclass(frozen=True)
class Share:
    """The `least` and the `most` that the data allow, which differ where the day lies within an interval of no information.

    The limits reach around both. `n_events` counts those known to be resolved by the day, `n_episodes` all who are followed.
    """

    least: float
    most: float
    std_error: float
    lower: float
    upper: float
    n_episodes: int
    n_events: int
    n_sites: int

    @property
    def note(self) -> str | None:
        """Both shares, where a reader would see the difference."""
        if self.most - self.least < WORTH_SAYING:
            return None
        return f"the data allow {self.least:.3f} to {self.most:.3f}; the lower is given"


def select_followed(spells: pd.DataFrame, adjudications: pd.DataFrame, endpoint: str) -> pd.DataFrame:
    """First spells of positional episodes by one endpoint of which something is known, each with its verdict, by their keys."""
    positional = adjudications[adjudications["positional"].eq("yes")]
    first = spells[spells["spell"].eq(1) & spells["endpoint"].eq(endpoint) & spells["status"].isin(FOLLOWED)]
    return first.merge(positional, on=EPISODE, validate="one_to_one").sort_values(EPISODE, ignore_index=True)


def count_known(spells: pd.DataFrame, day: int) -> dict[str, int]:
    """How many are followed, known to be resolved by the day, and of how many sites."""
    resolved = int((spells["right_days"] <= day).sum())
    return {"n_episodes": len(spells), "n_events": resolved, "n_sites": int(spells["site"].nunique())}


def estimate_shares(spells: pd.DataFrame, days: tuple[int, ...], name: str, study: Study) -> dict[int, Share | Refusal]:
    """The share by each day, or why there is none; `name` seeds the bootstrap. A day needs enough known to be resolved and enough not."""
    left, right = spells["left_days"].to_numpy(float), spells["right_days"].to_numpy(float)
    found: dict[int, Share | Refusal] = {}
    for day in days:
        refusal = check_size(len(spells), int((right <= day).sum()), study.guards, n_without=int((left >= day).sum()))
        if day > study.curves.horizon_day:
            refusal = Refusal("not_identified", f"after day {study.curves.horizon_day}, the last that is estimated")
        if refusal:
            found[day] = refusal
    open_days = [day for day in days if day not in found]
    if open_days:
        try:
            lower, upper = fit_npmle(left, right).survival(open_days)
            drawn = _draw(spells, open_days, name, study)
        except NotConverged as failure:
            return found | {day: Refusal("not_converged", str(failure)) for day in open_days}
        for k, day in enumerate(open_days):
            found[day] = _describe(1 - upper[k], 1 - lower[k], drawn, k, count_known(spells, day))
    return {day: found[day] for day in days}


def _draw(spells: pd.DataFrame, days: list[int], name: str, study: Study) -> Replicates:
    left, right, index = collapse_intervals(spells["left_days"], spells["right_days"])
    patients, sites = spells["patient_id"].to_numpy(str), spells["site"].to_numpy(str)
    rng = np.random.default_rng([study.seed, zlib.crc32(name.encode())])
    weights = cluster_bootstrap_weights(index, patients, sites, study.curves.replicates, rng)
    return fit_many(left, right, weights, days)


def _describe(least: float, most: float, drawn: Replicates, k: int, counts: dict[str, int]) -> Share:
    low = max(0.0, 1 - np.quantile(drawn.upper[:, k], LIMITS[1]))  # masses add up to 1 but for rounding
    high = min(1.0, 1 - np.quantile(drawn.lower[:, k], LIMITS[0]))
    error = drawn.upper[:, k].std(ddof=1)
    return Share(float(least), float(most), float(error), float(low), float(high), **counts)
