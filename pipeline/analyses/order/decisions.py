"""The decisions at which a course may depart from a strategy, and what was known at each.

A decision is a failed examination, on whose day a strategy asks for a further session of one
family; whoever was given it within `retest_days` of the plan, by when the strategy would have
tested again, has kept to the strategy. Clinics that book the next session for the following days
count as giving it, and who waits longer was not given it. A session without a failed examination
since the one before is a decision too, on its own day and over its family only: nothing says who
else could have come then. Sessions from the day on which resolution was seen, and of later spells,
are none; nor are days from the last on of which anything is told.
"""

import numpy as np
import pandas as pd

from pipeline.analyses.covariates import describe_covariates
from pipeline.analyses.order.choices import describe_failure
from pipeline.analyses.resolution.courses import list_sessions
from schemas.columns import Frame
from schemas.delivery import Episodes, Treatments
from schemas.derived import Adjudications, Attempts
from schemas.keys import EPISODE
from schemas.study import Config

NOTHING = ""  # no session was given in time
OF_ATTEMPT = ["outcome", "next_test_days", "next_vertigo", "next_duration_s", "next_peak_spv"]


def list_given(
    members: pd.DataFrame, treatments: Frame[Treatments], config: Config
) -> pd.DataFrame:
    """List the sessions of the members up to the horizon of the curves.

    Parameters
    ----------
    members
        As list_members of pipeline/analyses/resolution/courses.py gives them.
    treatments
        Table of the warehouse.
    config
        The plan and its maneuvers.

    Returns
    -------
    pd.DataFrame
        In order of members and days: site, episode_id, row (of the members), day, family, kind, and
        number, from 1 on.
    """
    sessions = list_sessions(treatments, config)
    rows = members[EPISODE].assign(row=np.arange(len(members)))
    given = sessions[sessions["day"] < config.study.curves.horizon_day].merge(rows, on=EPISODE)
    given = given.sort_values(["row", "day"], ignore_index=True)
    return given.assign(number=given.groupby("row").cumcount() + 1)


def describe_first(
    members: pd.DataFrame,
    given: pd.DataFrame,
    episodes: Frame[Episodes],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
) -> pd.DataFrame:
    """Describe each member by what was known at the first session, with its family and day.

    Parameters
    ----------
    members, given
        As list_given takes and gives them.
    episodes, adjudications, attempts
        Tables of the warehouse.

    Returns
    -------
    pd.DataFrame
        One row for each member, with what list_members says; the covariates of describe_covariates;
        setting, and family (missing where no session moved anything).
    """
    known = describe_covariates(episodes, adjudications, attempts)
    first = given[given["number"].eq(1)].merge(
        attempts[[*EPISODE, "day", "setting"]], on=[*EPISODE, "day"], how="left"
    )
    known = known.drop(columns=[c for c in members.columns if c not in EPISODE and c in known])
    return members.merge(known, on=EPISODE, how="left", validate="one_to_one").merge(
        first[[*EPISODE, "family", "setting"]], on=EPISODE, how="left", validate="one_to_one"
    )


def list_decisions(
    members: pd.DataFrame, given: pd.DataFrame, attempts: Frame[Attempts], config: Config
) -> pd.DataFrame:
    """List the decisions after each session but the last of the plan.

    Parameters
    ----------
    members
        As describe_first gives them.
    given
        As list_given gives them.
    attempts
        Table of the warehouse.
    config
        The plan.

    Returns
    -------
    pd.DataFrame
        One row each: row (of the members), day, number (of the session before), latest (its
        family), given (the family of the next session, NOTHING if none came in time), ended
        (resolution was seen before a session had to come), and what was known: all columns of the
        member, with the setting of the latest session, attempt_number and what describe_failure
        says.
    """
    plan, key = config.study.strategies, [*EPISODE, "day"]
    of_first = attempts.loc[attempts["spell"].eq(1), [*key, "setting", *OF_ATTEMPT]]
    last = given.merge(of_first, on=key, how="inner").sort_values(["row", "day"], ignore_index=True)
    following = last.groupby("row")[["day", "family"]].shift(-1)
    right, watched = (members[name].to_numpy(float)[last["row"]] for name in ("right", "last"))
    next_day = following["day"].to_numpy(float)
    failed = last["outcome"].eq("positive").to_numpy(bool)
    tested = last["day"].to_numpy(float) + last["next_test_days"].to_numpy(float)
    day = np.where(failed, tested, next_day)
    until = day + plan.retest_days
    comes = (next_day <= until) & (next_day < right)
    ended = failed & ~comes & (right <= until)
    asked = (failed | comes) & (day <= watched) & (day < plan.horizon_day)
    asked &= (last["number"] < plan.sessions).to_numpy(bool)
    decided = last[asked].reset_index(drop=True)
    known = members.drop(columns=["setting", "family", *EPISODE])
    return pd.DataFrame(
        {
            "row": decided["row"],
            "day": day[asked],
            "number": decided["number"],
            "latest": decided["family"],
            "given": following["family"].where(comes, NOTHING)[asked].to_numpy(str),
            "ended": ended[asked],
            "site": decided["site"],
            "setting": decided["setting"],
            "attempt_number": decided["number"].astype(str),
            **describe_failure(decided),
            **{name: known[name].array[decided["row"]] for name in known},
        }
    )
