"""Reasons against positional vertigo: from which day each is on record,
and when the site saw it itself."""

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.derivation.tables import adjudicate
from tests.failure_cases import case, gather
from tests.positional_tests import quiet, quiet_roll
from tests.unit.adjudication.presentations import any_test, number
from tests.unit.adjudication.test_adjudicate import DOWNBEAT, GEOTROPIC, RIGHT_POSTERIOR

PLACES = [("dix_hallpike", "right"), ("dix_hallpike", "left"), ("straight_head_hang", "none")]
SIDEWAYS = {"side": "right", "horizontal": "right", "vertigo": "moderate", "peak_spv": 20}
QUIET_ROLL = {"test": "supine_roll", "side": "right", "examination": 7}
UNTREATED: tuple = ()
EVERYTHING_SILENT = [
    quiet(),
    quiet(side="left"),
    *quiet_roll(),
    quiet("sitting_up", "none"),
]


@pytest.fixture(scope="session")
def list_all(plan):
    """A function from cases to the reasons of each, as a dict of their days."""

    def list_cases(*cases) -> list[dict[str, int]]:
        reasons = adjudicate(gather(cases), plan)[1]
        return [
            dict(reasons.loc[reasons["episode_id"].eq(f"EP-{n}"), ["reason", "known_day"]].values)
            for n in range(len(cases))
        ]

    return list_cases


@pytest.fixture
def reasons_of(list_all):
    """The reasons of one case with their days."""
    return lambda tests, treatments=UNTREATED, **episode: list_all(
        case(tests, treatments, (), **episode)
    )[0]


def downbeats(*days: int) -> list[dict]:
    """Down-beating nystagmus in another position on each of the days."""
    return [
        DOWNBEAT | {"test": test, "side": side, "day": day, "latency_s": 5}
        for (test, side), day in zip(PLACES, days, strict=False)
    ]


def test_answers_are_as_of_the_first_test_and_of_day_0_without_one(reasons_of):
    tests = [RIGHT_POSTERIOR | {"day": day} for day in (9, 2)]
    assert reasons_of(tests, cannot_stand="yes") == {"cannot_stand": 2}
    assert reasons_of([], cannot_stand="yes") == {"cannot_stand": 0}


def test_a_sign_in_several_positions_is_known_with_the_last_that_it_needs(reasons_of):
    # three positions: config/criteria.yaml
    assert reasons_of(downbeats(0, 3)) == {}
    assert reasons_of(downbeats(0, 3, 5)) == {"downbeat_in_several_positions": 5}
    again = downbeats(0, 3, 5) + [test | {"day": 8} for test in downbeats(0, 0, 0)]
    assert reasons_of(again) == {"downbeat_in_several_positions": 5}


def test_a_sign_that_needs_a_silent_test_is_known_when_that_was_done(reasons_of):
    assert reasons_of([SIDEWAYS]) == {}
    silent = [SIDEWAYS, QUIET_ROLL | {"day": 4}]
    assert reasons_of(silent) == {"horizontal_in_dix_hallpike": 4}


def test_a_sign_that_later_tests_take_back_is_no_reason(reasons_of):
    roll = QUIET_ROLL | {"horizontal": "geotropic", "vertigo": "moderate", "day": 6}
    assert reasons_of([SIDEWAYS, QUIET_ROLL | {"day": 4}, roll]) == {}
    standing = {"symptoms_only_on_standing": "yes"}
    everything = [test | {"day": 1} for test in EVERYTHING_SILENT]
    assert reasons_of(everything, **standing) == {"orthostatic_likely": 1}
    assert reasons_of([*everything, RIGHT_POSTERIOR | {"day": 3}], **standing) == {}


def test_both_ears_down_on_different_days_are_known_with_the_second(reasons_of):
    right, left = (test | {"duration_s": 120} for test in GEOTROPIC)
    assert reasons_of([right, left | {"day": 2}]) == {"light_cupula": 2}


def test_nothing_that_came_after_the_first_attempt_is_a_reason(reasons_of):
    later = [test | {"after_attempt": pd.NA} for test in downbeats(3, 3, 3)]
    assert reasons_of([RIGHT_POSTERIOR, *later], ({},)) == {}
    found = {"other_diagnosis": "central", "other_diagnosis_day": 12}
    assert reasons_of([RIGHT_POSTERIOR], ({},), **found) == {}
    assert reasons_of([RIGHT_POSTERIOR], UNTREATED, **found) == {"other_diagnosis=central": 12}


def test_a_working_diagnosis_without_a_canal_is_as_of_the_first_test(reasons_of):
    tests = [{"day": 2}, {"day": 5}]
    assert reasons_of(tests, recorded_canal="none") == {"no_canal_recorded": 2}


@pytest.mark.parametrize(
    ("episode", "ended", "day"),
    [
        ({}, (), None),
        ({"other_diagnosis": "unknown"}, (), None),
        ({"other_diagnosis": "meniere", "other_diagnosis_day": 20}, (), 20),
        ({"other_diagnosis": "meniere", "other_diagnosis_day": 20}, (9, 14), 9),
        ({"recorded_canal": "none"}, (9,), 2),
        ({}, (14, 9), 9),
    ],
)
def test_the_site_recognises_on_the_first_day_of_what_it_noted(judge, episode, ended, day):
    contacts = [{"day": day, "end_of_followup": "reclassified"} for day in ended]
    verdict = judge([{"day": 2}], episode, ({"day": 5},), contacts)
    assert (None if pd.isna(verdict["recognised_day"]) else verdict["recognised_day"]) == day


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=5, deadline=None
)
@given(seen=st.lists(st.lists(any_test, min_size=1, max_size=5), min_size=8, max_size=8))
def test_what_is_known_by_a_day_is_what_the_tests_up_to_it_say(list_all, seen):
    plain = [number(tests) for tests in seen]
    days = [min(test["day"] for test in tests) for tests in plain]
    early = [
        [test for test in tests if test["day"] == day]
        for tests, day in zip(plain, days, strict=True)
    ]
    answers = list_all(*(case(tests, UNTREATED) for tests in [*plain, *early]))
    for whole, first, day in zip(answers[: len(seen)], answers[len(seen) :], days, strict=True):
        assert {name for name, known in whole.items() if known == day} <= set(first)
        assert set(first) & set(whole) == {name for name, known in whole.items() if known == day}
