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
