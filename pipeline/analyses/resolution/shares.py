"""The share resolved by a day in one group of first spells: of a site,
or of those who began with the same maneuver.

Estimated is P(resolution on or before the day) for the first spells of positional episodes that
were followed, counted from the first attempt. Resolution lies between two tests, so estimator and
limits are those of the curves (pipeline/analyses/resolution/curves.py); the limits of one site
leave out its patients one by one.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.analyses.resolution.curves import NOBODY
from pipeline.statistics.bounded_curve import BoundedCurve, bound_curve
from pipeline.statistics.guard import Refusal, check_size
from pipeline.statistics.jackknife import RESTS_ON_ONE
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.tidy import Fields, count_sites
from schemas.columns import Frame
from schemas.derived import Adjudications, Spells
from schemas.keys import EPISODE
from schemas.study import Study

FOLLOWED = ("resolved", "unresolved")
WORTH_SAYING = 0.005  # a difference between least and most that a reader would see


@dataclass(frozen=True)
class Share:
    """The share resolved by a day; its limits reach around the least and the most.

    Attributes
    ----------
    least, most
        What the data allow; they differ where the day lies within an interval of no information.
    std_error
        Of the least, by sites.
    lower, upper
        95 % confidence limits.
    n_episodes, n_events
        All who are followed, and those known to be resolved by the day.
    n_sites, by_site
        On how many sites it rests, and on how many episodes of each.
    """

    least: float
    most: float
    std_error: float | None
    lower: float
    upper: float
    n_episodes: int
    n_events: int
    n_sites: int
    by_site: str | None

    @property
    def note(self) -> str | None:
        """Both shares, where a reader would see the difference."""
        if self.most - self.least < WORTH_SAYING:
            return None
        return f"the data allow {self.least:.3f} to {self.most:.3f}; the lower is given"


def select_followed(
    spells: Frame[Spells], adjudications: Frame[Adjudications], endpoint: str
) -> pd.DataFrame:
    """Select first spells of positional episodes of which something is known.

    Parameters
    ----------
    spells, adjudications
        The derived tables.
    endpoint
        The endpoint of the spells.

    Returns
    -------
    pd.DataFrame
        One row for each episode, with its verdict, by their keys.
    """
    positional = adjudications[adjudications["positional"].eq("yes")]
    first = spells[
        spells["spell"].eq(1) & spells["endpoint"].eq(endpoint) & spells["status"].isin(FOLLOWED)
    ]
    return first.merge(positional, on=EPISODE, validate="one_to_one").sort_values(
        EPISODE, ignore_index=True
    )


def count_known(spells: Frame[Spells], day: int) -> Fields:
    """Count how many are followed, known to be resolved by the day, and of how many sites.

    Parameters
    ----------
    spells
        Spells by `select_followed`.
    day
        Days from the first attempt.

    Returns
    -------
    Fields
        The columns `n_episodes`, `n_events`, `n_sites` and `by_site` of a row.
    """
    resolved = int((spells["right_days"] <= day).sum())
    return {"n_episodes": len(spells), "n_events": resolved, **count_sites(spells)}


def estimate_shares(
    spells: Frame[Spells], days: tuple[int, ...], study: Study
) -> dict[int, Share | Refusal]:
    """Estimate the share resolved by each day.

    Parameters
    ----------
    spells
        Spells by `select_followed`.
    days
        Days from the first attempt.
    study
        Thresholds, and the last day that is estimated.

    Returns
    -------
    dict
        By day the share, or why there is none.
    """
    horizon = study.curves.horizon_day
    refusal = check_size(len(spells), None, study.guards)
    if refusal:
        return dict.fromkeys(days, refusal)
    try:
        bounded = bound_curve(spells, np.arange(horizon + 1))
    except NotConverged as failure:
        return dict.fromkeys(days, Refusal("not_converged", str(failure)))
    late = Refusal("not_identified", f"after day {horizon}, the last that is estimated")
    return {
        day: late if day > horizon else _describe(bounded, day, count_known(spells, day))
        for day in days
    }


def _describe(bounded: BoundedCurve, day: int, counts: Fields) -> Share | Refusal:
    lower, upper = bounded.lower, bounded.upper
    if np.isnan(upper.error[day]):
        return RESTS_ON_ONE
    least, most = 1 - upper.share[day], 1 - lower.share[day]
    if most - least >= WORTH_SAYING and counts["n_events"] == 0:
        return NOBODY
    ends = float(1 - upper.high[day]), float(1 - lower.low[day])
    return Share(float(least), float(most), upper.tell_error(day), *ends, **counts)
