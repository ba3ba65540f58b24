"""Decisions: what counts as given in time, and what was known."""

import pytest

from pipeline.analyses.order.decisions import NOTHING
from tests.unit.analyses.order.ordered_courses import Course, decide

EPLEY = {0: "epley"}


def test_the_session_of_the_failed_test_is_the_decision(plan):
    _, decisions = decide(plan, [Course({0: "epley", 7: "semont"}, {7: "severe", 14: ""})])
    (only,) = decisions.to_dict("records")
    assert (only["number"], only["latest"], only["given"]) == (1, "epley", "semont")
    assert only["failure_vertigo"] == "severe"
    assert not only["ended"]


@pytest.mark.parametrize(("day", "given"), [(7, "semont"), (14, "semont"), (15, NOTHING)])
def test_a_session_comes_in_time_within_a_week(plan, day, given):
    course = Course({0: "epley", day: "semont"}, {7: "mild", 21: ""})
    _, decisions = decide(plan, [course])
    assert list(decisions["given"]) == [given]


def test_who_is_well_before_a_session_had_to_come_has_kept_to_any_strategy(plan):
    _, decisions = decide(plan, [Course(EPLEY, {7: "mild", 12: ""}), Course(EPLEY, {7: "mild"})])
    assert list(decisions["ended"]) == [True, False]
    assert list(decisions["given"]) == [NOTHING, NOTHING]


def test_a_session_without_a_failed_test_is_a_decision_on_its_day(plan):
    _, decisions = decide(plan, [Course({0: "epley", 20: "semont"}, {28: ""})])
    assert list(decisions["given"]) == ["semont"]


def test_sessions_after_resolution_and_after_the_days_told_are_none(plan):
    well = Course({0: "epley", 9: "semont"}, {7: "", 14: ""})
    late = Course({0: "epley", 30: "semont"}, {30: "mild", 40: ""})
    _, decisions = decide(plan, [well, late])
    assert decisions.empty


def test_the_last_session_of_the_plan_is_followed_by_none(plan):
    days = (0, 3, 6, 9, 12)
    course = Course(dict.fromkeys(days, "epley"), {**dict.fromkeys(days[1:], "mild"), 20: ""})
    _, decisions = decide(plan, [course])
    assert list(decisions["number"]) == [1, 2, 3]


def test_what_is_known_of_a_decision_does_not_change_with_what_follows(plan):
    given = {0: "epley", 7: "semont"}
    fates = ({7: "mild", 14: ""}, {7: "mild", 14: "severe", 60: "severe"})
    known = []
    for tests in fates:
        _, decisions = decide(plan, [Course(given, tests)])
        known.append(decisions[decisions["number"].eq(1)])
    terms = [*plan.study.strategies.terms, "latest", "given"]
    assert known[0][terms].equals(known[1][terms])
