"""Totals of the Dizziness Handicap Inventory by day, with what had been seen by then:
the rows of pipeline/analyses/afterwards/handicap.py."""

import numpy as np
import pandas as pd

from pipeline.statistics.tidy import Fields, count_sites
from schemas.columns import Frame
from schemas.delivery import Episodes, Followups
from schemas.derived import Adjudications, Spells
from schemas.keys import EPISODE
from schemas.study import Study

TREATED = ("resolved", "unresolved", "not_tested_again", "never_positive")


def select_totals(
    episodes: Frame[Episodes],
    followups: Frame[Followups],
    adjudications: Frame[Adjudications],
    spells: Frame[Spells],
    study: Study,
) -> pd.DataFrame:
    """Select the totals of treated positional episodes.

    Two totals of one day are averaged; of those on or before day 0 the last counts, as of day 0.
    Totals far after the last day of the plan are left out.

    Returns
    -------
    pd.DataFrame
        One row for each day of an episode with a total, by key and day: site, episode_id, day,
        total (points), plan_day, canal, patient (of its site) and seen (resolution seen by then).
        plan_day is day 0, or the day of the plan that the total is near to; nan soon after day 0:
        such a total is after the first attempt.
    """
    first = spells[
        spells["spell"].eq(1)
        & spells["endpoint"].eq(study.resolution.primary)
        & spells["status"].isin(TREATED)
    ]
    first = first.assign(
        seen_day=first["start_day"].astype(float) + first["right_days"].astype(float)
    )
    positional = adjudications[adjudications["positional"].eq("yes")][[*EPISODE, "canal"]]
    members = positional.merge(first[[*EPISODE, "seen_day"]], on=EPISODE, validate="one_to_one")
    members = members.merge(episodes[[*EPISODE, "patient_id"]], on=EPISODE, validate="one_to_one")
    given = followups[followups["dhi_total"].notna()].astype({"dhi_total": float})
    daily = given.groupby([*EPISODE, "day"], as_index=False)["dhi_total"].mean()
    before = (
        daily[daily["day"].le(0)]
        .sort_values([*EPISODE, "day"])
        .groupby(EPISODE)
        .tail(1)
        .assign(day=0)
    )
    rows = pd.concat([before, daily[daily["day"].gt(0)]]).rename(columns={"dhi_total": "total"})
    at = rows["day"].to_numpy(float)
    rows = rows.assign(plan_day=find_nearest_day(at, study.handicap.days))[
        at <= find_horizon(study.handicap.days)
    ]
    rows = rows.merge(members, on=EPISODE, validate="many_to_one")
    patient = rows["site"].astype(str) + "|" + rows["patient_id"].astype(str)
    rows = rows.assign(patient=patient, seen=rows["seen_day"] <= rows["day"].astype(float))
    return rows.sort_values([*EPISODE, "day"], ignore_index=True).drop(
        columns=["patient_id", "seen_day"]
    )


def find_nearest_day(day: np.ndarray, days: tuple[int, ...]) -> np.ndarray:
    """Find the day of the plan that each day is near to.

    Parameters
    ----------
    day
        Days from the first attempt, 0 or later, (rows,).
    days
        Days of the plan, rising.

    Returns
    -------
    np.ndarray
        Day 0 for itself; else the one of `days` that is nearest by log(1 + day), nan where day 0 is
        nearer, (rows,).
    """
    reported = np.array([0, *days])
    nearest = reported[np.abs(np.log1p(day)[:, None] - np.log1p(reported)).argmin(axis=1)]
    return np.where((day > 0) & (nearest == 0), np.nan, nearest)


def find_horizon(days: tuple[int, ...]) -> float:
    """The last day that is used: half a step after the last of `days`, by log(1 + day)."""
    before, last = np.log1p([0, *days])[-2:]
    return float(np.expm1(last + (last - before) / 2))


def pick_nearest(totals: pd.DataFrame, day: int) -> pd.DataFrame:
    """Of each episode the total nearest to a reported day, of those near it;
    of two as near the later one."""
    candidates = totals[totals["plan_day"].eq(day)]
    away = np.abs(np.log1p(candidates["day"].astype(float)) - np.log1p(day))
    ordered = candidates.assign(away=away, later=-candidates["day"]).sort_values(
        [*EPISODE, "away", "later"]
    )
    return (
        ordered.groupby(EPISODE, as_index=False)
        .head(1)
        .drop(columns=["away", "later"])
        .reset_index(drop=True)
    )


def count_totals(rows: pd.DataFrame) -> Fields:
    """Episodes, those among them with resolution seen by a total in `rows`, and sites."""
    seen = rows.groupby(EPISODE)["seen"].any()
    return {
        "n_episodes": len(seen),
        "n_events": int(seen.sum()),
        **count_sites(seen.reset_index()),
    }
