"""Episodes day by day: who enters, what stands on which day, and which rates hold."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.resolution.courses import (
    ANOTHER,
    ANY_FAMILY,
    BANDS,
    CLEARED,
    FIRST,
    GAPS,
    KEPT_ON,
    LATER,
    LEAST_OWN,
    OTHER_CANALS,
    SAME,
    classify_canals,
    classify_days,
    classify_variants,
    find_parents,
    lay_out_days,
    list_members,
    mark_late,
    number_habits,
)
from pipeline.derivation.examined_days import list_examined_days
from pipeline.derivation.states import select_deciding_tests
from pipeline.statistics.hidden_end_model import (
    CHOSEN,
    LATE_POSITIVE,
    NEGATIVE,
    NO_TEST,
    NOT_SEEN,
    PLANNED,
    POSITIVE,
    TESTED,
    UNWATCHED,
)
from tests.unit.analyses.resolution.tested_episodes import gather


def lay_out(plan, tables):
    members = list_members(tables["adjudications"], tables["spells"])
    tests = select_deciding_tests(
        tables["examinations"], tables["findings"], tables["adjudications"], plan.criteria
    )
    reasons = list_examined_days(tables["examinations"])
    others = tables["treatments"], tables["followups"]
    return members, lay_out_days(members, tests, reasons, *others, plan)


def test_tests_contacts_and_sessions_stand_on_their_days(plan):
    members, days = lay_out(plan, gather(plan, [{2: True, 7: False}, {}]))
    assert list(members["episode_id"]) == ["EP-0", "EP-1"]  # not tested again is evidence too
    assert days.result[0, [0, 1, 6]].tolist() == [NOT_SEEN, 1, 0]
    assert np.flatnonzero(days.coming[0] == TESTED).tolist() == [1, 6]
    assert days.report[0, 2] == 1
    assert days.sessions[["row", "day", "kind"]].to_numpy().tolist() == [
        [0, 0, FIRST],
        [1, 0, FIRST],
    ]
    assert (days.coming != UNWATCHED).all()
    assert members[["left", "right"]].to_numpy().tolist() == [[2.0, 7.0], [0.0, np.inf]]


def test_a_test_has_the_reason_that_is_recorded(plan):
    tables = gather(plan, [{2: True, 7: False, 9: False}])
    day = tables["examinations"]["day"]
    reason = pd.Series(pd.NA, index=day.index, dtype=tables["examinations"]["reason"].dtype)
    reason = reason.mask(day.eq(2), "symptoms").mask(day.eq(7), "planned").mask(day.eq(9), "other")
    examinations = tables["examinations"].assign(reason=reason)
    _, days = lay_out(plan, tables | {"examinations": examinations})
    assert days.coming[0, [1, 6, 8]].tolist() == [CHOSEN, PLANNED, TESTED]


def test_whoever_is_lost_is_watched_no_longer(plan):
    _, days = lay_out(plan, gather(plan, [{2: True, 7: False}], end_of_followup="lost"))
    assert (days.coming[0] != UNWATCHED).sum() == 3
    assert days.result[0, 6] == NOT_SEEN


def test_whoever_is_lost_on_the_day_of_the_maneuver_is_watched_on_no_day(plan):
    tables = gather(plan, [{7: False}], end_of_followup="lost")
    _, days = lay_out(plan, tables | {"followups": tables["followups"].assign(day=0)})
    assert (days.coming == UNWATCHED).all()


@pytest.mark.parametrize(
    ("codes", "kinds"),
    [
        (["epley", "epley"], [FIRST, SAME]),
        (["epley", "semont", "semont"], [FIRST, ANOTHER, SAME]),
        (["observation", "semont"], [None, FIRST]),
    ],
)
def test_sessions_are_told_by_what_came_before(plan, codes, kinds):
    tables = gather(plan, [{20: False}])
    given = pd.concat(
        [
            tables["treatments"].assign(day=tables["treatments"]["day"] + 5 * k, maneuver=code)
            for k, code in enumerate(codes)
        ]
    )
    listed = given if "observation" in plan.maneuvers else given[given["maneuver"] != "observation"]
    _, days = lay_out(plan, tables | {"treatments": listed})
    kind_by_day = dict(zip(days.sessions["day"], days.sessions["kind"], strict=True))
    assert kind_by_day == {5 * k: kind for k, kind in enumerate(kinds) if kind}


def test_habits_follow_the_last_session_or_test():
    treated, tested = np.zeros((1, 8), bool), np.zeros((1, 8), bool)
    result = np.full((1, 8), NOT_SEEN)
    treated[0, 0] = True
    tested[0, [2, 4]] = True
    result[0, [2, 4]] = [1, 0]
    habit = number_habits(np.array(["S01"]), treated, tested, result)[0]
    gaps = len(GAPS)
    assert habit[:3].tolist() == [0, 1, 2]  # one, two, three days since the session
    assert habit[3:5].tolist() == [gaps + (KEPT_ON - 1) * gaps, gaps + (KEPT_ON - 1) * gaps + 1]
    assert habit[5] == gaps + (CLEARED - 1) * gaps
    assert NO_TEST != TESTED


def test_a_positive_test_long_after_a_negative_one_may_be_a_recurrence():
    result = np.full((2, 30), NOT_SEEN)
    result[0, [2, 10, 16, 29]] = NEGATIVE, NEGATIVE, POSITIVE, NEGATIVE
    result[1, [2, 10, 20]] = NEGATIVE, POSITIVE, NEGATIVE
    late = mark_late(result, 14)
    assert late[0, [2, 10, 16, 29]].tolist() == [NEGATIVE, NEGATIVE, LATE_POSITIVE, NEGATIVE]
    np.testing.assert_array_equal(late[1], result[1])  # each within two weeks


def make_members(**sizes: int) -> pd.DataFrame:
    """Members by canal and arm, as `posterior_long=60`."""
    rows = [name.split("_") for name, size in sizes.items() for _ in range(size)]
    return pd.DataFrame(rows, columns=["canal", "arm"]).assign(mechanism="canalolithiasis")


def test_small_variants_count_as_their_canal_and_rare_canals_together():
    members = make_members(posterior_long=LEAST_OWN, posterior_short=3, anterior_long=4)
    variants = classify_variants(members)
    assert set(variants[:LEAST_OWN]) == {"posterior/long/canalolithiasis"}
    assert set(variants[LEAST_OWN : LEAST_OWN + 3]) == {"posterior"}
    assert set(variants[-4:]) == {OTHER_CANALS}


def test_each_class_has_the_rates_of_its_canal_and_kind_as_parents():
    members = make_members(posterior_long=LEAST_OWN, posterior_short=3, lateral_long=LEAST_OWN)
    n = len(members)
    sessions = pd.DataFrame(
        {"row": np.arange(n), "day": 0, "family": "epley", "acts_days": 1, "kind": FIRST}
    )
    again = sessions.assign(day=7, kind=SAME).head(LEAST_OWN)
    another = sessions.assign(day=7, kind=ANOTHER, family="semont").tail(3)
    sessions = pd.concat([sessions, again, another], ignore_index=True)
    wide = classify_days(classify_canals(members), sessions, 40, None)
    fine = classify_days(classify_variants(members), sessions, 40, LEAST_OWN)
    assert {jump.family for jump in wide.jumps} == {ANY_FAMILY}
    assert ("posterior/long/canalolithiasis", SAME, "epley", 1) in fine.jumps
    assert ("lateral/long/canalolithiasis", LATER, ANY_FAMILY, 1) in fine.jumps  # only three
    natural, jump = find_parents(fine, wide)
    np.testing.assert_array_equal(natural[fine.natural], wide.natural)
    np.testing.assert_array_equal(jump[fine.jump], wide.jump)
    assert fine.natural.max() == len(fine.variants) * len(BANDS) - 1
    assert (fine.jump[:, 0] == 0).sum() == 0  # the session of day 0 acts on day 1
    assert (fine.jump[:LEAST_OWN, 7] > 0).all()
    assert (fine.jump[:, 1:7] == 0).all()


def test_a_course_of_exercises_acts_on_each_of_its_days_until_the_next_session():
    members = make_members(posterior_long=LEAST_OWN)
    epley = pd.DataFrame({"row": np.arange(LEAST_OWN), "day": 0, "family": "epley", "kind": FIRST})
    exercises = epley.assign(day=7, family="brandt_daroff", kind=ANOTHER)
    last = epley.assign(day=12, kind=ANOTHER).head(3)
    sessions = pd.concat(
        [epley.assign(acts_days=1), exercises.assign(acts_days=14), last.assign(acts_days=1)]
    ).sort_values(["row", "day"], ignore_index=True)
    wide = classify_days(classify_canals(members), sessions, 16, None)
    fine = classify_days(classify_variants(members), sessions, 16, LEAST_OWN)
    assert {jump.days for jump in fine.jumps if jump.family == "brandt_daroff"} == {14}
    number = 1 + fine.find_jump("posterior/long/canalolithiasis", ANOTHER, "brandt_daroff")
    assert np.flatnonzero(fine.jump[0] == number).tolist() == [7, 8, 9, 10, 11]
    assert np.flatnonzero(fine.jump[-1] == number).tolist() == list(range(7, 16))  # the horizon
    assert (fine.jump[:3, 12] > 0).all()
    assert (fine.jump[:3, 13:] == 0).all()
    _, jump = find_parents(fine, wide)
    np.testing.assert_array_equal(jump[fine.jump], wide.jump)
    # what acts once and what acts daily share no rate
    assert {(each.kind, each.days) for each in wide.jumps} == {(FIRST, 1), (LATER, 1), (LATER, 14)}
