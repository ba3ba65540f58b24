"""Which tests decide on which days: those of the canal, late enough after a maneuver, and all that
had been positive."""

import numpy as np
import pandas as pd

from tests.unit.derivation.conftest import interval

POSITIVE = {"vertical": "up", "torsion": "right", "vertigo": "moderate", "duration_s": 20}
LATER = {"after_attempt": pd.NA}


def test_a_negative_test_in_the_visit_of_the_maneuver_confirms_nothing(derive):
    spells, attempts = derive(
        [POSITIVE, {"examination": 2, "after_attempt": 1}, LATER | {"day": 9}]
    )
    assert interval(spells) == (0, 9, "resolved")
    assert attempts["same_visit"].tolist() == ["negative"]


def test_a_negative_test_on_a_treatment_day_without_order_confirms_nothing(derive):
    spells, _ = derive([POSITIVE, LATER | {"day": 5}], [{}, {"attempt": 2, "day": 5}])
    assert interval(spells) == (0, np.inf, "not_tested_again")


def test_a_negative_test_before_the_maneuver_of_the_day_counts(derive):
    spells, _ = derive([POSITIVE, {"day": 5, "after_attempt": 0}], [{}, {"attempt": 2, "day": 5}])
    assert interval(spells) == (0, 5, "resolved")


def test_observation_asks_for_no_wait_but_starts_the_clock(derive):
    spells, _ = derive(
        [POSITIVE, {"day": 1, "after_attempt": pd.NA}], [{"maneuver": "observe", "side": "none"}]
    )
    assert interval(spells) == (0, 1, "resolved")


def test_every_test_that_had_been_positive_must_be_repeated(derive):
    tests = [
        POSITIVE,
        POSITIVE | {"examination": 2, "side": "left", "torsion": "left"},
        LATER | {"day": 6},
    ]
    assert interval(derive(tests)[0]) == (0, np.inf, "not_tested_again")
    both = [*tests, LATER | {"day": 6, "examination": 2, "side": "left"}]
    assert interval(derive(both)[0]) == (0, 6, "resolved")


def test_the_side_lying_test_stands_for_the_dix_hallpike_test(derive):
    assert interval(derive([POSITIVE, LATER | {"day": 6, "test": "side_lying"}])[0]) == (
        0,
        6,
        "resolved",
    )


def test_tests_of_another_canal_decide_nothing(derive):
    spells, _ = derive([POSITIVE, LATER | {"day": 6, "test": "supine_roll"}])
    assert interval(spells) == (0, np.inf, "not_tested_again")


def test_vertigo_without_nystagmus_is_positive(derive):
    spells, _ = derive([POSITIVE, LATER | {"day": 6, "vertigo": "mild"}])
    assert interval(spells) == (6, np.inf, "unresolved")
    assert interval(spells, "composite") == (0, 6, "resolved")
