"""Intervals from tests: what is known, what is not, and nothing that was not tested."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.adjudication.adjudicate import adjudicate_episodes
from pipeline.adjudication.days import keep_until_reclassified
from pipeline.adjudication.findings import describe_looks
from pipeline.derivation.attempts import list_attempts
from pipeline.derivation.spells import bound_spells, measure_spells
from pipeline.derivation.states import find_states, mark_confirming, select_deciding_looks
from schemas.keys import EPISODE

POSITIVE = {"vertical": "up", "torsion": "right", "vertigo": "moderate", "duration_s": 20}
LATER = {"after_attempt": pd.NA}


@pytest.fixture
def derive(table, plan):
    """A function from tests, treatments and followups of one episode to its spells and attempts."""

    def derive_one(looks, treatments=({},), followups=(), incomplete=False):
        episodes, examinations = table("episodes", [{}]), table("examinations", looks)
        given_treatments = table("treatments", list(treatments))
        contacts = table("followups", list(followups)).assign(
            after_attempt=pd.array([pd.NA] * len(followups), dtype="Int64")
        )
        findings = describe_looks(examinations, given_treatments, plan.criteria.duration)
        verdicts = adjudicate_episodes(
            episodes, examinations, findings, given_treatments, contacts, plan.criteria
        )
        contacts = keep_until_reclassified(contacts, verdicts)
        deciding = select_deciding_looks(examinations, findings, verdicts, plan.criteria)
        resolution = plan.study.resolution
        deciding["confirming"] = mark_confirming(
            deciding, given_treatments, plan.maneuvers, resolution.confirmation_day
        )
        contacts["confirming"] = mark_confirming(
            contacts, given_treatments, plan.maneuvers, resolution.confirmation_day
        )
        index = pd.MultiIndex.from_frame(episodes[EPISODE])
        treated = index if len(given_treatments) else index[:0]
        spells = measure_spells(
            episodes, deciding, contacts, treated, index if incomplete else index[:0], resolution
        )
        objective = spells[spells["endpoint"].eq("objective")]
        return spells, list_attempts(
            episodes,
            given_treatments,
            deciding,
            find_states(deciding),
            objective,
            verdicts,
            plan.maneuvers,
        )

    return derive_one


def interval(
    spells: pd.DataFrame, endpoint: str = "objective", spell: int = 1
) -> tuple[float, float, str]:
    row = spells[spells["endpoint"].eq(endpoint) & spells["spell"].eq(spell)].iloc[0]
    return row["left_days"], row["right_days"], row["status"]


def test_resolution_lies_between_last_positive_and_first_negative_look(derive):
    spells, _ = derive([POSITIVE, POSITIVE | LATER | {"day": 3}, LATER | {"day": 9}])
    assert interval(spells) == (3, 9, "resolved")


def test_a_negative_look_in_the_visit_of_the_maneuver_confirms_nothing(derive):
    spells, attempts = derive([POSITIVE, {"look": 2, "after_attempt": 1}, LATER | {"day": 9}])
    assert interval(spells) == (0, 9, "resolved")
    assert attempts["same_visit"].tolist() == ["negative"]


def test_a_negative_look_on_a_treatment_day_without_order_confirms_nothing(derive):
    spells, _ = derive([POSITIVE, LATER | {"day": 5}], [{}, {"attempt": 2, "day": 5}])
    assert interval(spells) == (0, np.inf, "not_looked")


def test_a_negative_look_before_the_maneuver_of_the_day_counts(derive):
    spells, _ = derive([POSITIVE, {"day": 5, "after_attempt": 0}], [{}, {"attempt": 2, "day": 5}])
    assert interval(spells) == (0, 5, "resolved")


def test_observation_asks_for_no_wait_but_starts_the_clock(derive):
    spells, _ = derive(
        [POSITIVE, {"day": 1, "after_attempt": pd.NA}], [{"maneuver": "observe", "side": "none"}]
    )
    assert interval(spells) == (0, 1, "resolved")


def test_every_test_that_had_been_positive_must_be_repeated(derive):
    looks = [
        POSITIVE,
        POSITIVE | {"look": 2, "side": "left", "torsion": "left"},
        LATER | {"day": 6},
    ]
    assert interval(derive(looks)[0]) == (0, np.inf, "not_looked")
    both = [*looks, LATER | {"day": 6, "look": 2, "side": "left"}]
    assert interval(derive(both)[0]) == (0, 6, "resolved")


def test_the_side_lying_test_stands_for_the_dix_hallpike_test(derive):
    assert interval(derive([POSITIVE, LATER | {"day": 6, "test": "side_lying"}])[0]) == (
        0,
        6,
        "resolved",
    )


def test_tests_of_another_canal_decide_nothing(derive):
    spells, _ = derive([POSITIVE, LATER | {"day": 6, "test": "supine_roll"}])
    assert interval(spells) == (0, np.inf, "not_looked")


def test_vertigo_without_nystagmus_is_positive(derive):
    spells, _ = derive([POSITIVE, LATER | {"day": 6, "vertigo": "mild"}])
    assert interval(spells) == (6, np.inf, "unresolved")
    assert interval(spells, "composite") == (0, 6, "resolved")


def test_turning_geotropic_ends_the_composite_endpoint_only(derive):
    roll = {"test": "supine_roll", "duration_s": 90, "vertigo": "moderate"}
    first = [
        roll | {"side": s, "horizontal": "apogeotropic", "peak_spv": v, "look": n}
        for n, (s, v) in enumerate([("right", 9), ("left", 4)], 1)
    ]
    turned = [
        roll | LATER | {"day": 4, "side": s, "horizontal": "geotropic", "look": n}
        for n, s in enumerate(["right", "left"], 1)
    ]
    spells, _ = derive(first + turned)
    assert interval(spells) == (4, np.inf, "unresolved")
    assert interval(spells, "composite") == (0, 4, "resolved")


def test_reported_and_strict_endpoints(derive):
    looks = [POSITIVE, LATER | {"day": 7}, LATER | {"day": 14}]
    spells, _ = derive(looks, followups=[{"day": 7, "positional_symptoms": "yes"}, {"day": 14}])
    assert interval(spells, "objective") == (0, 7, "resolved")
    assert interval(spells, "patient_reported") == (7, 14, "resolved")
    assert interval(spells, "strict") == (7, 14, "resolved")


def test_holes_and_missing_treatment_are_told_apart(derive):
    looks = [POSITIVE, LATER | {"day": 7}]
    assert interval(derive(looks, incomplete=True)[0])[2] == "incomplete_record"
    assert interval(derive(looks, treatments=())[0])[2] == "untreated"


def test_a_reclassified_case_stays_at_risk_until_that_day(derive):
    looks = [POSITIVE, POSITIVE | LATER | {"day": 5}, LATER | {"day": 20}]
    assert interval(derive(looks)[0]) == (5, 20, "resolved")
    ended = {"day": 12, "end_of_followup": "reclassified", "positional_symptoms": "unknown"}
    assert interval(derive(looks, followups=[ended])[0]) == (5, np.inf, "unresolved")


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
def test_intervals_never_contradict_a_look(timeline):
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


def test_attempts_are_sessions_with_the_next_deciding_look(derive):
    looks = [POSITIVE, POSITIVE | {"day": 5, "after_attempt": 0}, LATER | {"day": 12}]
    given_treatments = [
        {},
        {"attempt": 2, "maneuver": "semont"},
        {"attempt": 3, "day": 5},
        {"attempt": 4, "day": 20},
    ]
    _, attempts = derive(looks, given_treatments)
    assert attempts["maneuver"].tolist() == ["epley semont", "epley", "epley"]
    assert attempts["outcome"].tolist() == ["positive", "negative", "not_looked"]
    assert attempts["next_look_days"].tolist()[:2] == [5, 7]
    assert attempts["at_risk"].tolist() == [True, True, False]


def test_a_session_after_a_return_belongs_to_the_spell_that_began_with_it(derive):
    looks = [
        POSITIVE,
        LATER | {"day": 7},
        POSITIVE | {"day": 80, "after_attempt": 0},
        LATER | {"day": 90},
    ]
    _, attempts = derive(looks, [{}, {"attempt": 2, "day": 80}, {"attempt": 3, "day": 85}])
    assert attempts["spell"].tolist() == [1, 2, 2]
    within = [looks[0], looks[1], looks[2] | {"day": 15}]
    assert derive(within, [{}, {"attempt": 2, "day": 15}])[1]["spell"].tolist() == [1, 1]


def test_a_session_without_a_look_before_the_next_tells_nothing(derive):
    _, attempts = derive([POSITIVE, LATER | {"day": 12}], [{}, {"attempt": 2, "day": 5}])
    assert attempts["outcome"].tolist() == ["not_looked", "negative"]
