"""Intervals from tests: what is known, what is not, and nothing that was not tested."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.derivation.spells import bound_spells
from tests.unit.derivation.conftest import interval

POSITIVE = {"vertical": "up", "torsion": "right", "vertigo": "moderate", "duration_s": 20}
LATER = {"after_attempt": pd.NA}


def test_resolution_lies_between_last_positive_and_first_negative_test(derive):
    spells, _ = derive([POSITIVE, POSITIVE | LATER | {"day": 3}, LATER | {"day": 9}])
    assert interval(spells) == (3, 9, "resolved")


def test_turning_geotropic_ends_the_composite_endpoint_only(derive):
    roll = {"test": "supine_roll", "duration_s": 90, "vertigo": "moderate"}
    first = [
        roll | {"side": s, "horizontal": "apogeotropic", "peak_spv": v, "examination": n}
        for n, (s, v) in enumerate([("right", 9), ("left", 4)], 1)
    ]
    turned = [
        roll | LATER | {"day": 4, "side": s, "horizontal": "geotropic", "examination": n}
        for n, s in enumerate(["right", "left"], 1)
    ]
    spells, _ = derive(first + turned)
    assert interval(spells) == (4, np.inf, "unresolved")
    assert interval(spells, "composite") == (0, 4, "resolved")


def test_reported_and_strict_endpoints(derive):
    tests = [POSITIVE, LATER | {"day": 7}, LATER | {"day": 14}]
    spells, _ = derive(tests, followups=[{"day": 7, "positional_symptoms": "yes"}, {"day": 14}])
    assert interval(spells, "objective") == (0, 7, "resolved")
    assert interval(spells, "patient_reported") == (7, 14, "resolved")
    assert interval(spells, "strict") == (7, 14, "resolved")


def test_holes_and_missing_treatment_are_told_apart(derive):
    tests = [POSITIVE, LATER | {"day": 7}]
    assert interval(derive(tests, incomplete=True)[0])[2] == "incomplete_record"
    assert interval(derive(tests, treatments=())[0])[2] == "untreated"


def test_a_reclassified_case_stays_at_risk_until_that_day(derive):
    tests = [POSITIVE, POSITIVE | LATER | {"day": 5}, LATER | {"day": 20}]
    assert interval(derive(tests)[0]) == (5, 20, "resolved")
    ended = {"day": 12, "end_of_followup": "reclassified", "positional_symptoms": "unknown"}
    assert interval(derive(tests, followups=[ended])[0]) == (5, np.inf, "unresolved")


def test_without_a_positive_test_nothing_can_turn_negative(derive):
    assert interval(derive([{}, LATER | {"day": 7}])[0]) == (0, np.inf, "never_positive")


@pytest.mark.parametrize(("gap_days", "spells"), [(13, 1), (14, 2), (15, 2)])
def test_a_return_opens_a_new_spell_only_after_the_gap(gap_days, spells):
    back = 5 + gap_days
    found = list(bound_spells([5, back], ["negative", "positive"], gap=14))
    assert len(found) == spells
    if spells == 2:
        assert (found[0].left, found[0].right, found[1].start) == (0, 5, back)
    else:
        assert (found[0].left, found[0].right) == (back, np.inf)


days_and_states = st.lists(
    st.tuples(st.integers(-5, 80), st.sampled_from(["positive", "negative"])),
    unique_by=lambda x: x[0],
).map(sorted)


@given(days_and_states)
def test_intervals_never_contradict_a_test(timeline):
    days, states = [d for d, _ in timeline], [s for _, s in timeline]
    spells = list(bound_spells(days, states, gap=14))
    assert all(s.start <= s.left < s.right and s.left <= s.last for s in spells)
    for spell in spells:
        later = [(d, s) for d, s in timeline if d > max(spell.start, 0)]
        assert all(s == "negative" for d, s in later if d == spell.right)
        assert not any(
            s == "positive"
            for d, s in later
            if spell.left < d <= spell.right and np.isfinite(spell.right)
        )
