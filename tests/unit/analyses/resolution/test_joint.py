"""The model with the days of testing: who enters, what is laid out for each day, and a status where
there is too little."""

import numpy as np
import pandas as pd

from pipeline.analyses.resolution.joint import (
    CLEARED,
    GAPS,
    KEPT_ON,
    _number_habits,
    estimate_joint,
    lay_out,
    list_members,
)
from pipeline.derivation.states import select_deciding_tests
from pipeline.derivation.tables import derive_rows
from tests.failure_cases import LATER, RIGHT
from tests.unit.conftest import build_table


def gather(plan, courses: list[dict[int, bool]], sites: int = 5, **followup) -> dict:
    """Derived and delivered rows of episodes of the right posterior canal, each tested on some
    days (True: positive) beside day 0, and treated on day 0."""
    who = [{"site": f"S{n % sites:02d}", "episode_id": f"EP-{n}"} for n in range(len(courses))]
    looks, calls = [], []
    for key, course in zip(who, courses, strict=True):
        looks.append(key | RIGHT | {"day": 0})
        looks += [
            key | {"day": day} | LATER | (RIGHT if positive else {})
            for day, positive in course.items()
        ]
        calls.append(key | {"day": 3, "positional_symptoms": "yes"} | followup)
    delivered = {
        "episodes": build_table(
            "episodes", [key | {"patient_id": key["episode_id"]} for key in who]
        ),
        "examinations": build_table("examinations", looks),
        "treatments": build_table("treatments", [key | {"day": 0} for key in who]),
        "followups": build_table("followups", calls),
        "set_aside": pd.DataFrame({"site": [], "episode_id": [], "table": []}),
    }
    rows = derive_rows(delivered, plan, ["objective"])
    names = ("examinations", "treatments", "followups")
    return {name: delivered[name] for name in names} | {
        name: rows[name] for name in ("findings", "adjudications", "spells")
    }


def place(plan, tables):
    members = list_members(tables["adjudications"], tables["spells"])
    looks = select_deciding_tests(
        tables["examinations"], tables["findings"], tables["adjudications"], plan.criteria
    )
    return members, lay_out(members, looks, tables["treatments"], tables["followups"], plan)


def test_tests_contacts_and_sessions_stand_on_their_days(plan):
    members, courses = place(plan, gather(plan, [{2: True, 7: False}, {}]))
    assert list(members["episode_id"]) == ["EP-0", "EP-1"]  # not tested again is evidence too
    assert courses.shown[0, [0, 1, 6]].tolist() == [-1, 1, 0]
    assert courses.looked[0].nonzero()[0].tolist() == [1, 6]
    assert courses.said[0, 2] == 1
    assert courses.done[0].nonzero()[0].tolist() == [0]  # the session of day 0 acts on day 1
    assert courses.watched.all()


def test_whoever_is_lost_is_watched_no_longer(plan):
    _, courses = place(plan, gather(plan, [{2: True, 7: False}], end_of_followup="lost"))
    assert courses.watched[0].sum() == 3
    assert courses.shown[0, 6] == -1


def test_whoever_is_lost_on_the_day_of_the_maneuver_is_watched_on_no_day(plan):
    tables = gather(plan, [{7: False}], end_of_followup="lost")
    _, courses = place(plan, tables | {"followups": tables["followups"].assign(day=0)})
    assert not courses.watched.any()


def test_a_day_before_anybody_is_tested_or_asked_has_no_number(plan):
    courses = [{7: False}] * 30 + [{7: True, 14: False}] * 20 + [{}] * 10
    found = estimate_joint(**gather(plan, courses), config=plan).set_index(["stratum", "term"])
    early = found.loc[("all", "resolved_by_day_1")]  # the first who say anything do so on day 3
    assert early["status"] == "not_identified"
    assert ("all", "resolved_by_day_1_least_misread") not in found.index
    assert found.loc[("all", "resolved_by_day_7"), "status"] == "ok"


def test_habits_follow_the_last_session_or_test():
    treated, looked = np.zeros((1, 8), bool), np.zeros((1, 8), bool)
    shown = np.full((1, 8), -1)
    treated[0, 0] = True
    looked[0, [2, 4]] = True
    shown[0, [2, 4]] = [1, 0]
    habit = _number_habits(np.array(["S01"]), treated, looked, shown)[0]
    gaps = len(GAPS)
    assert habit[:3].tolist() == [0, 1, 2]  # one, two, three days since the session
    assert habit[3:5].tolist() == [gaps + (KEPT_ON - 1) * gaps, gaps + (KEPT_ON - 1) * gaps + 1]
    assert habit[5] == gaps + (CLEARED - 1) * gaps


def test_few_sites_give_a_status_and_many_a_share(plan):
    courses = [{7: False}] * 30 + [{7: True, 14: False}] * 20 + [{}] * 10
    few = estimate_joint(**gather(plan, courses, sites=2), config=plan)
    assert few["status"].eq("not_identified").all()
    found = estimate_joint(**gather(plan, courses), config=plan).set_index(["stratum", "term"])
    share = found.loc[("all", "resolved_by_day_7")]
    assert share["status"] == "ok"
    assert share["lower"] < share["estimate"] < share["upper"]
    assert 0.4 < share["estimate"] < 0.8
    shares = found.loc["all"]["estimate"].filter(regex=r"^resolved_by_day_\d+$")
    assert shares.dropna().is_monotonic_increasing
    least = found.loc[("all", "resolved_by_day_7_least_misread"), "estimate"]
    greatest = found.loc[("all", "resolved_by_day_7_greatest_misread"), "estimate"]
    assert least <= share["estimate"] <= greatest
