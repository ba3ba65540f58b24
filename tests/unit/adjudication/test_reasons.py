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


def downbeats(*days: int) -> list[dict]:
    """Down-beating nystagmus in another position on each of the days."""
    return [
        DOWNBEAT | {"test": test, "side": side, "day": day, "latency_s": 5}
        for (test, side), day in zip(PLACES, days, strict=False)
    ]


LATE_DOWNBEATS = [test | {"after_attempt": pd.NA} for test in downbeats(3, 3, 3)]
FOUND = {"other_diagnosis": "central", "other_diagnosis_day": 12}
STANDING = {"symptoms_only_on_standing": "yes"}
EVERYTHING_SILENT_LATER = [test | {"day": 1} for test in EVERYTHING_SILENT]
SHOWN_ROLL = QUIET_ROLL | {"horizontal": "geotropic", "vertigo": "moderate", "day": 6}
RIGHT_DOWN, LEFT_DOWN = (test | {"duration_s": 120} for test in GEOTROPIC)
# What it shows, the episode (untreated, unless it says otherwise), and each reason with its day.
DATED = {
    "answers are as of the first test": (
        case([RIGHT_POSTERIOR | {"day": day} for day in (9, 2)], UNTREATED, cannot_stand="yes"),
        {"cannot_stand": 2},
    ),
    "answers are as of day 0 without a test": (
        case([], UNTREATED, cannot_stand="yes"),
        {"cannot_stand": 0},
    ),
    # three positions: config/criteria.yaml
    "two positions are too few": (case(downbeats(0, 3), UNTREATED), {}),
    "a sign in several positions is known with the last that it needs": (
        case(downbeats(0, 3, 5), UNTREATED),
        {"downbeat_in_several_positions": 5},
    ),
    "what is seen again changes no day": (
        case(downbeats(0, 3, 5) + [test | {"day": 8} for test in downbeats(0, 0, 0)], UNTREATED),
        {"downbeat_in_several_positions": 5},
    ),
    "a sign that needs a silent test is none without it": (case([SIDEWAYS], UNTREATED), {}),
    "a sign that needs a silent test is known when that was done": (
        case([SIDEWAYS, QUIET_ROLL | {"day": 4}], UNTREATED),
        {"horizontal_in_dix_hallpike": 4},
    ),
    "a sign that a later test takes back is no reason": (
        case([SIDEWAYS, QUIET_ROLL | {"day": 4}, SHOWN_ROLL], UNTREATED),
        {},
    ),
    "everything was silent": (
        case(EVERYTHING_SILENT_LATER, UNTREATED, **STANDING),
        {"orthostatic_likely": 1},
    ),
    "a later positive test takes that back": (
        case([*EVERYTHING_SILENT_LATER, RIGHT_POSTERIOR | {"day": 3}], UNTREATED, **STANDING),
        {},
    ),
    "both ears down on different days are known with the second": (
        case([RIGHT_DOWN, LEFT_DOWN | {"day": 2}], UNTREATED),
        {"light_cupula": 2},
    ),
    "no test after the first attempt is a reason": (case([RIGHT_POSTERIOR, *LATE_DOWNBEATS]), {}),
    "no diagnosis after the first attempt is a reason": (case([RIGHT_POSTERIOR], **FOUND), {}),
    "without an attempt it is": (
        case([RIGHT_POSTERIOR], UNTREATED, **FOUND),
        {"other_diagnosis=central": 12},
    ),
    "a working diagnosis without a canal is as of the first test": (
        case([{"day": 2}, {"day": 5}], UNTREATED, recorded_canal="none"),
        {"no_canal_recorded": 2},
    ),
}


def test_each_reason_is_dated_by_what_made_it_one(list_all):
    told = list_all(*(episode for episode, _ in DATED.values()))
    assert dict(zip(DATED, told, strict=True)) == {name: days for name, (_, days) in DATED.items()}


RECOGNISED = [  # what the episode says, on which days it was reclassified, and when it was seen
    ({}, (), None),
    ({"other_diagnosis": "unknown"}, (), None),
    ({"other_diagnosis": "meniere", "other_diagnosis_day": 20}, (), 20),
    ({"other_diagnosis": "meniere", "other_diagnosis_day": 20}, (9, 14), 9),
    ({"recorded_canal": "none"}, (9,), 2),
    ({}, (14, 9), 9),
]


def test_the_site_recognises_on_the_first_day_of_what_it_noted(judge_all):
    verdicts = judge_all(
        *(
            case(
                [{"day": 2}],
                ({"day": 5},),
                [{"day": day, "end_of_followup": "reclassified"} for day in ended],
                **episode,
            )
            for episode, ended, _ in RECOGNISED
        )
    )
    days = [verdict["recognised_day"] for verdict in verdicts]
    assert [None if pd.isna(day) else day for day in days] == [day for *_, day in RECOGNISED]


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=2, deadline=None
)
@given(seen=st.lists(st.lists(any_test, min_size=1, max_size=5), min_size=20, max_size=20))
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
