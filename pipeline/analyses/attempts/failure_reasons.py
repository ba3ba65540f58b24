"""Why first maneuvers failed: the share of failures with evidence for each reason,
as known at the time and in hindsight.

Several reasons, and several parts of the technique, are possible for one failure, so the shares of
a view do not add up to one. Evidence is not a verdict.
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pipeline.statistics import site_limits
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.tidy import count_sites, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.derived import FailureReasons
from schemas.estimate import Estimates
from schemas.failure import REASON, TECHNIQUE, VIEW
from schemas.keys import EPISODE
from schemas.study import Config, Guards

METHOD = f"share of episodes; {site_limits.METHOD}"
NOTE = "several reasons are possible for one failure; evidence, not a verdict"
# nobody can know on the day of the failure that it will go by itself
ONLY_LATER = ("at_the_time", "remission_anyway")
FAILED, TREATED = "first maneuver failed", "first maneuver failed or not tested again"


def estimate_failure_reasons(
    failure_reasons: Frame[FailureReasons], config: Config
) -> Frame[Estimates]:
    """Estimate the share of failed first sessions with evidence for each reason.

    Fewer than `guards.min_episodes` episodes give a status, not a number. Limits:
    pipeline/statistics/site_limits.py.

    Returns
    -------
    Frame[Estimates]
        One share for each view and reason (stratum view=...,reason=...), and, as known at the time,
        for each part of the technique (measure=...). The population of
        never_tested_again are all first sessions that have a reason; that of the others are those
        after which someone tested again, because nothing is known of the rest. A first session that
        was taken for failed belongs to them, and one that cleared its canal while another one of
        the same ear had become positive.
    """
    by_view = {view: failure_reasons[failure_reasons["view"].eq(view)] for view in VIEW}
    rows = [
        row
        for view, reasons in by_view.items()
        for row in _estimate_view(reasons, view, config.study.guards)
    ]
    rows += _estimate_parts(by_view["at_the_time"], config.study.guards)
    return tidy_estimates(rows, analysis="failure_reasons", method=METHOD)


def list_taken_for_failed(failure_reasons: Frame[FailureReasons]) -> pd.DataFrame:
    """The episodes whose first session failed or was taken to have failed: site, episode_id."""
    return _drop_unseen(failure_reasons)[EPISODE].drop_duplicates()


def _drop_unseen(reasons: pd.DataFrame) -> pd.DataFrame:
    """The reasons of those who were tested again after the first session."""
    unseen = reasons.loc[reasons["reason"].eq("never_tested_again"), EPISODE]
    return reasons[
        ~pd.MultiIndex.from_frame(reasons[EPISODE]).isin(pd.MultiIndex.from_frame(unseen))
    ]


def _estimate_view(reasons: pd.DataFrame, view: str, guards: Guards) -> Iterator[dict]:
    tested_again = _drop_unseen(reasons)
    for reason in REASON:
        members, population = (
            (reasons, TREATED) if reason == "never_tested_again" else (tested_again, FAILED)
        )
        fields = {"population": population, "stratum": f"view={view},reason={reason}"}
        if (view, reason) == ONLY_LATER:
            yield withhold("share", "not_identified", "can be known only later", **fields)
        else:
            with_reason = members.loc[members["reason"].eq(reason), EPISODE]
            yield _estimate_share(members, with_reason, guards, fields)


def _estimate_parts(reasons: pd.DataFrame, guards: Guards) -> Iterator[dict]:
    """In how many the technique was not as usual in each of its parts."""
    members = _drop_unseen(reasons)
    for part in TECHNIQUE:
        stratum = f"view=at_the_time,reason=technique,measure={part}"
        fields = {"population": FAILED, "stratum": stratum}
        yield _estimate_share(members, list_with_part(members, part), guards, fields)


def list_with_part(reasons: pd.DataFrame, part: str) -> pd.DataFrame:
    """The episodes of one view whose technique was not as usual in a part of
    schemas.failure.TECHNIQUE: site, episode_id."""
    technique = reasons[reasons["reason"].eq("technique")]
    codes = set(TECHNIQUE[part][1])
    found = [not codes.isdisjoint(str(evidence).split()) for evidence in technique["evidence"]]
    return technique.loc[np.array(found, dtype=bool), EPISODE]


def _estimate_share(
    members: pd.DataFrame, with_reason: pd.DataFrame, guards: Guards, fields: dict
) -> dict:
    episodes = members[EPISODE].drop_duplicates()
    total = len(episodes)
    events = len(with_reason)
    counts = {
        "n_episodes": total,
        "n_events": events,
        **count_sites(episodes, events=with_reason),
    }
    if total < guards.min_episodes:
        return withhold(
            "share", "too_few", f"fewer than {guards.min_episodes} episodes", **fields, **counts
        )
    happened = pd.MultiIndex.from_frame(episodes).isin(pd.MultiIndex.from_frame(with_reason))
    low, high = site_limits.bound_share(happened, episodes["site"], guards)
    return state_within(
        "share", events / total, low, high, SHARE, guards, note=NOTE, **fields, **counts
    )
