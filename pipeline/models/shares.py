"""The share resolved by a day in one group of first spells: of a site, or of those who began with the same maneuver.

Estimated is P(resolution on or before the day) for the first spells of positional episodes that were followed, counted from the first
attempt. Resolution lies between two looks, so estimator and limits are those of the curves (pipeline/models/curves.py); the limits of one
site leave out its patients one by one.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.models.counts import EPISODE
from pipeline.models.curves import Edge, bound_share
from pipeline.models.guard import Refusal, check_size
from pipeline.models.jackknife import RESTS_ON_ONE
from pipeline.models.leave_out import leave_out_weights
from pipeline.models.npmle import collapse_intervals, fit_many, fit_npmle
from pipeline.models.npmle_search import NotConverged
from pipeline.models.tidy import count_sites
from schemas.study import Study

FOLLOWED = ("resolved", "unresolved")
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
    largest_share: float | None

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
    return {"n_episodes": len(spells), "n_events": resolved, **count_sites(spells["site"])}


def estimate_shares(spells: pd.DataFrame, days: tuple[int, ...], study: Study) -> dict[int, Share | Refusal]:
    """The share by each day, or why there is none. A day needs enough known to be resolved and enough not."""
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
            unresolved = _bound_unresolved(spells, open_days)
        except NotConverged as failure:
            return found | {day: Refusal("not_converged", str(failure)) for day in open_days}
        found |= {day: _describe(*unresolved, k, count_known(spells, day)) for k, day in enumerate(open_days)}
    return {day: found[day] for day in days}


def _bound_unresolved(spells: pd.DataFrame, days: list[int]) -> tuple[Edge, Edge]:
    """The least and the greatest share unresolved on each day."""
    left, right = spells["left_days"].to_numpy(float), spells["right_days"].to_numpy(float)
    distinct_left, distinct_right, index = collapse_intervals(left, right)
    weights, repeats = leave_out_weights(index, spells["patient_id"].to_numpy(str), spells["site"].to_numpy(str))
    without = fit_many(distinct_left, distinct_right, weights, days)
    lower, upper = fit_npmle(left, right).survival(days)
    sizes = len(spells) - weights.sum(axis=1)
    return bound_share(lower, without.lower, repeats, sizes), bound_share(upper, without.upper, repeats, sizes)


def _describe(lower: Edge, upper: Edge, k: int, counts: dict[str, int]) -> Share | Refusal:
    if np.isnan(upper.error[k]):
        return RESTS_ON_ONE
    least, most = 1 - upper.share[k], 1 - lower.share[k]
    return Share(
        float(least), float(most), float(upper.error[k]), float(1 - upper.high[k]), float(1 - lower.low[k]), **counts
    )
