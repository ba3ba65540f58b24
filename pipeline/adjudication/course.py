"""What the course after the first session says about it: sessions,
resolution and contacts that came later."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from pipeline.adjudication.maneuvers import MOVES_NOTHING
from schemas.columns import Frame
from schemas.criteria import Canal
from schemas.delivery import Episodes, Followups, Treatments
from schemas.derived import Attempts, Spells
from schemas.failure import Remission
from schemas.keys import EPISODE
from schemas.maneuver import Maneuver


def name_unseen(never_tested_again: pd.DataFrame) -> pd.DataFrame:
    """Evidence for first sessions after which nobody was tested: site, episode_id, evidence,
    day of the session."""
    again = never_tested_again["next_day"].notna()
    evidence = np.where(again, "retreated_before_a_test", "no_later_test")
    return never_tested_again[[*EPISODE, "day"]].assign(evidence=evidence)


def explain_retreatment(cleared: pd.DataFrame, followups: Frame[Followups]) -> pd.DataFrame:
    """List evidence for sessions after which tests turned negative and a maneuver was given again.

    Parameters
    ----------
    cleared
        First sessions with test_day (the negative test), next_day (of the second session) and
        next_at_risk: false if the tests were still negative when it began.
    followups
        Contacts, which may tell of other dizziness in between.

    Returns
    -------
    pd.DataFrame
        site, episode_id, evidence, day.
    """
    returned = cleared[cleared["next_at_risk"]]
    reports = followups.merge(
        cleared[~cleared["next_at_risk"]], on=EPISODE, suffixes=("", "_session")
    )
    reports = reports[
        reports["day"].between(reports["test_day"], reports["next_day"]).fillna(False)
    ]
    symptoms = reports.assign(
        denied=reports["positional_symptoms"].eq("no"),
        admitted=reports["positional_symptoms"].eq("yes"),
        dizzy=reports["other_dizziness"].eq("yes").fillna(False),
    )
    contacts = (
        symptoms.groupby([*EPISODE, "next_day"])[["denied", "admitted", "dizzy"]]
        .any()
        .reset_index()
    )
    dizzy_only = contacts[contacts["denied"] & contacts["dizzy"] & ~contacts["admitted"]]
    by_evidence = {"negative_day_between": returned, "retreated_for_dizziness_only": dizzy_only}
    return pd.concat(
        [
            rows[EPISODE].assign(evidence=name, day=rows["next_day"].astype("Int64"))
            for name, rows in by_evidence.items()
        ]
    )


def find_later_success(
    failures: pd.DataFrame, attempts: Frame[Attempts], maneuvers: dict[str, Maneuver]
) -> pd.DataFrame:
    """List evidence from later sessions after which the tests were negative.

    Parameters
    ----------
    failures
        Failed first sessions with their maneuver.
    attempts
        All sessions.
    maneuvers
        What each code of a maneuver is.

    Returns
    -------
    pd.DataFrame
        site, episode_id, evidence, day of that test.
    """
    worked = attempts[attempts["session"].gt(1) & attempts["outcome"].eq("negative")]
    worked = worked.assign(day=worked["day"] + worked["next_test_days"].astype("Int64"))
    pairs = worked[[*EPISODE, "day", "maneuver"]].merge(
        failures[[*EPISODE, "maneuver"]], on=EPISODE, suffixes=("_later", "_first")
    )
    key = ["maneuver_first", "maneuver_later"]
    questions = pairs[key].drop_duplicates()
    answers = [compare_maneuvers(first, later, maneuvers) for first, later in questions.to_numpy()]
    answered = questions.assign(evidence=answers).explode("evidence").dropna(subset="evidence")
    return pairs.merge(answered, on=key)[[*EPISODE, "evidence", "day"]]


def compare_maneuvers(first: str, later: str, maneuvers: dict[str, Maneuver]) -> list[str]:
    """Say what the success of a later session says of the first one.

    Parameters
    ----------
    first, later
        Codes of their maneuvers, separated by blanks.
    maneuvers
        What each code of a maneuver is.

    Returns
    -------
    list of str
        Patterns of config.failure; none unless the two share a canal and no arm.
    """
    (canals, arms), (later_canals, later_arms) = (
        [
            {value for code in codes.split() for value in getattr(maneuvers[code], part)}
            for part in ("canals", "arms")
        ]
        for codes in (first, later)
    )
    if not canals & later_canals or arms & later_arms:
        return []
    other_arm = ["other_arm_maneuver_worked"] if later_arms & {"long", "short"} else []
    return other_arm + (["adherent_maneuver_worked"] if "cupula" in later_arms else [])


def find_remission(
    failures: pd.DataFrame,
    episodes: Frame[Episodes],
    treatments: Frame[Treatments],
    spells: Frame[Spells],
    maneuvers: dict[str, Maneuver],
    remission: Mapping[Canal, Remission],
) -> pd.DataFrame:
    """List evidence that the vertigo went by itself after the failure.

    Resolution lies after left_days and at or before right_days, so that vertigo has lasted for as
    long as it was still seen, counted from onset as the sources do; from day 0 where the onset was
    not recorded, which is the least it can be.

    Parameters
    ----------
    failures
        Failed first sessions with seen_day and canal.
    episodes
        As delivered, with onset_day.
    treatments
        All treatments with `fit`.
    spells
        The derived table.
    maneuvers
        What each code of a maneuver is.
    remission
        By canal how many days from onset are long.

    Returns
    -------
    pd.DataFrame
        site, episode_id, evidence, day (the first one without it).
    """
    first = spells[
        spells["endpoint"].eq("objective") & spells["spell"].eq(1) & spells["status"].eq("resolved")
    ]
    ended = failures[[*EPISODE, "seen_day", "canal"]].merge(
        first[[*EPISODE, "left_days", "right_days"]], on=EPISODE
    )
    given = treatments[[*EPISODE, "day", "maneuver", "fit"]].merge(ended, on=EPISODE)
    given = given[(given["day"] < given["right_days"]).fillna(False)]
    could_help = given["day"].ge(given["seen_day"]) & given["fit"].isin(["yes", "unknown"])
    helped = given[could_help].set_index(EPISODE).index
    moved = given[~given["maneuver"].map(lambda code: maneuvers[code].kind).isin(MOVES_NOTHING)]
    last = ended.join(moved.groupby(EPISODE)["day"].max().rename("last_day"), on=EPISODE)
    usual = (
        last["canal"]
        .map({canal: course.days for canal, course in remission.items()})
        .astype("Float64")
    )
    onset = ended[EPISODE].merge(episodes[[*EPISODE, "onset_day"]], on=EPISODE, how="left")
    lasted = last["left_days"] - onset["onset_day"].fillna(0).array
    still_there = last["left_days"] > last["last_day"]
    by_evidence = {
        "resolved_without_fitting_maneuver": ~ended.set_index(EPISODE).index.isin(helped),
        "resolved_long_after_onset": (still_there & lasted.ge(usual)).fillna(False).to_numpy(bool),
    }
    return pd.concat(
        [
            ended.loc[which, EPISODE].assign(evidence=name, day=ended["right_days"].astype("Int64"))
            for name, which in by_evidence.items()
        ]
    )
