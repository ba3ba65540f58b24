"""Criteria that contradict themselves are refused with a sentence."""

import copy

import pytest
from pydantic import ValidationError

from schemas.criteria import Criteria, Flag, LaterFlag

FLAG = {"says": "s", "weight": "strong", "source": "a paper", "standing": "established"}
LATER = {"says": "s", "source": "a paper", "standing": "established"}
SESSIONS = {"sessions_least": 2, "verified_by": ["clinician"]}


def change(plan, *path: str, value) -> dict:
    """The criteria of the plan with another value at a path."""
    criteria = copy.deepcopy(plan.criteria.model_dump())
    place = criteria
    for part in path[:-1]:
        place = place[part]
    place[path[-1]] = value
    return criteria


def test_the_plan_s_own_criteria_fit(plan):
    assert Criteria.model_validate(plan.criteria.model_dump()) == plan.criteria


@pytest.mark.parametrize("least", [60, 70])
def test_the_band_of_durations_begins_before_it_ends(plan, least):
    criteria = change(plan, "duration", "borderline_from_s", value=least)
    criteria["duration"]["borderline_to_s"] = 60
    with pytest.raises(ValidationError, match="must begin before it ends"):
        Criteria.model_validate(criteria)
    criteria["duration"]["borderline_from_s"] = 59.9
    Criteria.model_validate(criteria)


def test_what_a_criterion_refines_is_one(plan):
    name = next(iter(plan.criteria.criteria))
    criteria = change(plan, "criteria", name, "refines", value="no_such")
    with pytest.raises(ValidationError, match="refines names no criterion: no_such"):
        Criteria.model_validate(criteria)


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ({}, "either a field or a pattern"),
        ({"field": "cannot_stand", "pattern": {"tests": ["dix_hallpike"]}}, "either a field or"),
        ({"field": "cannot_stand", "value": "often"}, "cannot_stand cannot be often"),
    ],
)
def test_a_flag_is_an_answer_that_can_be_given_or_a_pattern(more, fault):
    with pytest.raises(ValidationError, match=fault):
        Flag.model_validate(FLAG | more)
    assert Flag.model_validate(FLAG | {"field": "cannot_stand"}).value == "yes"


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ({}, "needs days_least or sessions_least"),
        ({"sessions_least": 2}, "need each other"),
        ({"days_least": 3, "verified_by": ["clinician"]}, "need each other"),
        ({"days_least": 3}, ""),
        (SESSIONS, ""),
        (SESSIONS | {"days_least": 3}, ""),
    ],
)
def test_a_later_flag_asks_for_time_or_for_verified_sessions(more, fault):
    if fault:
        with pytest.raises(ValidationError, match=fault):
            LaterFlag.model_validate(LATER | more)
    else:
        assert LaterFlag.model_validate(LATER | more).days_least == more.get("days_least", 0)
