"""Why first maneuvers failed: the share of failures with evidence for each reason, as known at the time and in hindsight.

Several reasons are possible for one failure, so the shares of a view do not add up to one. Evidence is not a verdict.
"""

from collections.abc import Iterator

import pandas as pd
from scipy.stats import binomtest

from pipeline.models.tidy import count_sites, state, tidy_estimates, withhold
from schemas.failure import REASON, VIEW
from schemas.study import Config

EPISODE = ["site", "episode_id"]
METHOD = "share of episodes; limits: exact (Clopper-Pearson)"
NOTE = "several reasons are possible for one failure; evidence, not a verdict"
ONLY_LATER = ("at_the_time", "remission_anyway")  # nobody can know on the day of the failure that it will go by itself
FAILED, TREATED = "first maneuver failed", "first maneuver failed or was never looked at"


def estimate_failure_reasons(failure_reasons: pd.DataFrame, config: Config) -> pd.DataFrame:
    """One share for each view and reason, from schemas.derived.FailureReasons (schemas.estimate.Estimates).

    The population of never_looked are all first sessions that have a reason; that of the others are those after which someone
    looked, because nothing is known of the rest. A first session that was taken for failed belongs to them, and
    one that cleared its canal while another one of the same ear had become positive. Fewer than
    `guards.min_episodes` episodes give a status, not a number. Limits: Clopper CJ, Pearson ES. Biometrika 1934;26:404-413.
    """
    least = config.study.guards.min_episodes
    by_view = {view: failure_reasons[failure_reasons["view"].eq(view)] for view in VIEW}
    rows = [row for view, reasons in by_view.items() for row in _estimate_view(reasons, view, least)]
    return tidy_estimates(rows, analysis="failure_reasons", method=METHOD)


def _estimate_view(reasons: pd.DataFrame, view: str, min_episodes: int) -> Iterator[dict]:
    unseen = reasons.loc[reasons["reason"].eq("never_looked"), EPISODE]
    looked = reasons[~pd.MultiIndex.from_frame(reasons[EPISODE]).isin(pd.MultiIndex.from_frame(unseen))]
    for reason in REASON:
        members, population = (reasons, TREATED) if reason == "never_looked" else (looked, FAILED)
        where = {"population": population, "stratum": f"view={view},reason={reason}"}
        if (view, reason) == ONLY_LATER:
            yield withhold("share", "not_identified", "can be known only later", **where)
        else:
            yield _estimate_share(members, reason, min_episodes, where)


def _estimate_share(members: pd.DataFrame, reason: str, min_episodes: int, where: dict) -> dict:
    episodes = members[EPISODE].drop_duplicates()
    total = len(episodes)
    events = int(members["reason"].eq(reason).sum())
    counts = {"n_episodes": total, "n_events": events, **count_sites(episodes["site"])}
    if total < min_episodes:
        return withhold("share", "too_few", f"fewer than {min_episodes} episodes", **where, **counts)
    limits = binomtest(events, total).proportion_ci(0.95, method="exact")
    return state("share", events / total, lower=limits.low, upper=limits.high, note=NOTE, **where, **counts)
