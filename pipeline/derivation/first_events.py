"""What ended each treated episode first: resolution, a switch to another canal, reclassification,
loss, or nothing so far.

A switch is what `pipeline.adjudication.switches` says. Where it is seen on the day on which the
tests of the first canal turn negative, it is the switch that ended the spell.
"""

import numpy as np
import pandas as pd

from pipeline.adjudication.switches import find_switches
from pipeline.derivation.states import select_deciding_tests
from schemas.columns import Frame
from schemas.criteria import Criteria
from schemas.delivery import Examinations, Followups, Treatments
from schemas.derived import Adjudications, Findings, Spells
from schemas.keys import EPISODE

CAUSES = ("resolved", "switched", "reclassified")  # events that end a spell
SEEN_CAUSES = (*CAUSES, "lost")  # and what ends its being seen
COMPLETE = ("resolved", "unresolved", "not_tested_again")
EXAMINATION_KEY = [*EPISODE, "day", "examination", "test", "side"]


def list_first_events(
    spells: Frame[Spells],
    adjudications: Frame[Adjudications],
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    criteria: Criteria,
) -> pd.DataFrame:
    """List what ended each treated positional episode first.

    Events of one day rank as switched, reclassified, resolved, lost.

    Parameters
    ----------
    spells
        The spells of one endpoint.
    adjudications, examinations, findings, treatments, followups
        Tables of the warehouse.
    criteria
        Which tests decide on which canal.

    Returns
    -------
    pd.DataFrame
        One row for each first spell, by key, in days from day 0: site, episode_id, patient_id,
        canal; `cause` of CAUSES, or none, of the event that came first, which lies in (left_days,
        right_days], infinite for none; `informative`, whether anything was seen after day 0;
        `seen_cause` of SEEN_CAUSES, or none, and seen_day, the day on which it was seen, or for
        none the last day of a test or contact. The first day holds what followed the maneuver
        within day 0, so that no interval is empty.
    """
    first = spells[spells["spell"].eq(1) & spells["status"].isin(COMPLETE)]
    verdicts = adjudications[adjudications["positional"].eq("yes")]
    members = first.merge(
        verdicts[[*EPISODE, "canal", "reclassified_day"]], on=EPISODE, validate="one_to_one"
    )
    members = members.sort_values(EPISODE, ignore_index=True)
    examinations, findings = (
        rows.sort_values(EXAMINATION_KEY, ignore_index=True) for rows in (examinations, findings)
    )
    deciding = select_deciding_tests(examinations, findings, adjudications, criteria)
    members = members.join(
        find_switches(examinations, findings, treatments, verdicts, criteria), on=EPISODE
    )
    rows = _bound_first_events(members, deciding[deciding["positive"]])
    return _add_what_was_seen(rows, examinations, followups)


def _bound_first_events(members: pd.DataFrame, positive: pd.DataFrame) -> pd.DataFrame:
    """The interval of the first event.

    Nobody is known to be without it after the last day positive in the first canal.
    """
    last = positive[[*EPISODE, "day"]].merge(members[[*EPISODE, "switched_day"]], on=EPISODE)
    last = (
        last[(last["day"] < last["switched_day"]).fillna(False)]
        .groupby(EPISODE)["day"]
        .max()
        .rename("last_before")
    )
    members = members.join(last, on=EPISODE)
    switched, before, reclassified = (
        members[name].to_numpy(float, na_value=np.nan)
        for name in ("switched_day", "last_before", "reclassified_day")
    )
    recorded = members["recorded_day"].eq(members["switched_day"]).fillna(False).to_numpy(bool)
    days = {
        "switched": np.where(np.isnan(switched), np.inf, switched),
        "reclassified": np.where(np.isnan(reclassified), np.inf, reclassified),
        "resolved": members["right_days"].to_numpy(float),
    }
    seen = np.min(list(days.values()), axis=0)
    cause = np.select(
        [np.isinf(seen), *(seen == day for day in days.values())], ["none", *days], "none"
    )
    until = np.fmax(np.fmax(before, 0), np.where(recorded, switched - 1, 0))
    return members.assign(
        cause=cause,
        left_days=np.where(cause == "switched", until, members["left_days"].to_numpy(float)),
        right_days=np.where(cause == "switched", np.fmax(seen, 1), seen),
        event_day=seen,
    )


def _add_what_was_seen(
    members: pd.DataFrame, examinations: pd.DataFrame, followups: pd.DataFrame
) -> pd.DataFrame:
    """The columns informative, seen_cause and seen_day: the first event by the day on which it was
    seen, loss included."""
    ended = followups[followups["end_of_followup"].isin(["lost", "withdrew"])]
    days = {"lost_day": ended.groupby(EPISODE)["day"].min()}
    days |= {
        "examined_day": examinations.groupby(EPISODE)["day"].max(),
        "contact_day": followups.groupby(EPISODE)["day"].max(),
    }
    for name, day in days.items():
        members = members.join(day.rename(name), on=EPISODE)
    lost, examined, contacted = (members[name].to_numpy(float, na_value=np.nan) for name in days)
    lost = np.where(np.isnan(lost), np.inf, np.maximum(lost, 0))
    is_lost = lost < members["event_day"].to_numpy(float)
    last = np.fmax(np.fmax(examined, contacted), 0)
    kept = members[[*EPISODE, "patient_id", "canal", "cause", "left_days", "right_days"]]
    return kept.assign(
        informative=members["left_days"].gt(0)
        | members["cause"].isin(["resolved", "reclassified"])
        | (members["cause"].eq("switched") & (members["event_day"].gt(0) | (examined > 0))),
        seen_cause=np.where(is_lost, "lost", members["cause"]),
        seen_day=np.select(
            [is_lost, members["cause"].ne("none")], [lost, members["event_day"]], last
        ),
    )
