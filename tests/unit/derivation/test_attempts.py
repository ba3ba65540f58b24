"""Sessions with what the next deciding test says of each, and what none says."""

import pandas as pd

POSITIVE = {"vertical": "up", "torsion": "right", "vertigo": "moderate", "duration_s": 20}


LATER = {"after_attempt": pd.NA}


def test_attempts_are_sessions_with_the_next_deciding_test(derive):
    tests = [POSITIVE, POSITIVE | {"day": 5, "after_attempt": 0}, LATER | {"day": 12}]
    given_treatments = [
        {},
        {"attempt": 2, "maneuver": "semont"},
        {"attempt": 3, "day": 5},
        {"attempt": 4, "day": 20},
    ]
    _, attempts = derive(tests, given_treatments)
    assert attempts["maneuver"].tolist() == ["epley semont", "epley", "epley"]
    assert attempts["outcome"].tolist() == ["positive", "negative", "not_tested_again"]
    assert attempts["next_test_days"].tolist()[:2] == [5, 7]
    assert attempts["at_risk"].tolist() == [True, True, False]


def test_a_session_after_a_return_belongs_to_the_spell_that_began_with_it(derive):
    tests = [
        POSITIVE,
        LATER | {"day": 7},
        POSITIVE | {"day": 80, "after_attempt": 0},
        LATER | {"day": 90},
    ]
    _, attempts = derive(tests, [{}, {"attempt": 2, "day": 80}, {"attempt": 3, "day": 85}])
    assert attempts["spell"].tolist() == [1, 2, 2]
    within = [tests[0], tests[1], tests[2] | {"day": 15}]
    assert derive(within, [{}, {"attempt": 2, "day": 15}])[1]["spell"].tolist() == [1, 1]


def test_a_session_without_a_test_before_the_next_tells_nothing(derive):
    _, attempts = derive([POSITIVE, LATER | {"day": 12}], [{}, {"attempt": 2, "day": 5}])
    assert attempts["outcome"].tolist() == ["not_tested_again", "negative"]


def test_how_strong_the_response_still_was_is_told_by_the_tests_before_the_next_session(derive):
    """The worst of both ears on day 7; what a test after the second session shows, or one that is
    done again without saying after which attempt, is not known at the choice."""
    day = {"day": 7, "after_attempt": 0}
    tests = [
        POSITIVE,
        POSITIVE | day | {"vertigo": "mild", "duration_s": 12, "peak_spv": 8},
        POSITIVE | day | {"side": "left", "torsion": "left", "duration_s": 9, "peak_spv": 15},
        POSITIVE | day | {"examination": 2, "after_attempt": 2, "vertigo": "severe"},
        POSITIVE | LATER | {"day": 7, "examination": 3, "vertigo": "severe", "duration_s": 50},
        {"day": 14, "vertigo": "mild", "after_attempt": 0},
    ]
    treatments = [{}, {"attempt": 2, "day": 7}, {"attempt": 3, "day": 14}]
    _, attempts = derive(tests, treatments)
    told = attempts[["next_vertigo", "next_duration_s", "next_peak_spv"]].to_numpy(object)
    assert told[0].tolist() == ["moderate", 12, 15]
    assert told[1].tolist() == ["mild", 0, 0]  # without nystagmus
    assert attempts.iloc[2][["next_vertigo", "next_duration_s", "next_peak_spv"]].isna().all()


def test_what_was_not_measured_at_the_failed_examination_stays_empty(derive):
    """Nor does the other ear, which shows nothing, make it none."""
    day = {"day": 7, "after_attempt": 0}
    tests = [POSITIVE, POSITIVE | day | {"duration_s": pd.NA}, day | {"side": "left"}]
    _, attempts = derive(tests, [{}, {"attempt": 2, "day": 9}])
    assert attempts["next_vertigo"].tolist()[0] == "moderate"
    assert attempts[["next_duration_s", "next_peak_spv"]].isna().all(axis=None)
