"""Intervals from tests: what is known, what is not, and nothing that was not tested."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.derivation.spells import TIMED, bound_spells, measure_spells
from schemas.derived import Spells
from schemas.keys import EPISODE
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


def test_another_canal_that_is_positive_keeps_only_the_endpoint_of_every_canal_open(derive):
    roll = {"test": "supine_roll", "side": "right"}
    beats = roll | {"horizontal": "geotropic", "vertigo": "moderate", "duration_s": 20}
    tests = [
        [POSITIVE, roll],
        [{}, beats],
        [{}, roll],
    ]
    rows = [
        ({} if day == 0 else LATER) | test | {"day": day, "examination": n}
        for day, both in zip((0, 7, 14), tests, strict=True)
        for n, test in enumerate(both, 1)
    ]
    spells, _ = derive(rows)
    assert interval(spells, "objective") == (0, 7, "resolved")
    assert interval(spells, "every_canal") == (7, 14, "resolved")


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
    intervals = list(bound_spells([5, back], ["negative", "positive"], gap=14))
    assert len(intervals) == spells
    if spells == 2:
        assert (intervals[0].left, intervals[0].right, intervals[1].start) == (0, 5, back)
    else:
        assert (intervals[0].left, intervals[0].right) == (back, np.inf)


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


def measure(plan, tests, contacts=(), *, episodes=("EP-1",), treated=None, incomplete=(), **more):
    """The spells of episodes of S01 from tests (episode, day, positive) and contacts (episode, day,
    symptoms), all of which confirm unless they say otherwise."""
    seen = pd.DataFrame(
        [
            {"site": "S01", "episode_id": e, "day": day, "positive": positive}
            | {"test": "dix_hallpike", "side": "right", "examination": 1, "confirming": True}
            | {"nystagmus": positive, "horizontal": "none"}
            | dict(*rest)
            for e, day, positive, *rest in tests
        ]
    )
    reports = pd.DataFrame(
        [
            {"site": "S01", "episode_id": e, "day": day, "positional_symptoms": symptoms}
            | {"confirming": True}
            | dict(*rest)
            for e, day, symptoms, *rest in contacts
        ],
        columns=["site", "episode_id", "day", "positional_symptoms", "confirming"],
    ).astype({"confirming": bool})
    known = pd.DataFrame({"site": "S01", "episode_id": list(episodes), "patient_id": "PT-1"})

    def name(codes) -> pd.MultiIndex:
        return pd.MultiIndex.from_product([["S01"], codes], names=EPISODE)

    return measure_spells(
        known,
        seen,
        seen,
        reports,
        name(episodes if treated is None else treated),
        name(incomplete),
        plan.study.resolution,
        **more,
    )


def rows_of(spells: pd.DataFrame, endpoint: str = "objective") -> list[tuple]:
    columns = ["episode_id", "spell", "start_day", "left_days", "right_days", "last_test_days"]
    return list(spells[spells["endpoint"].eq(endpoint)][columns].itertuples(index=False, name=None))


def test_days_of_a_later_spell_are_counted_from_its_start(plan):
    tests = [("EP-1", day, positive) for day, positive in ((0, True), (5, False), (30, True))]
    tests += [("EP-1", 33, True), ("EP-1", 40, False), ("EP-1", 44, False)]
    measured = measure(plan, tests)
    assert rows_of(measured) == [("EP-1", 1, 0, 0, 5, 5), ("EP-1", 2, 30, 3, 10, 14)]
    assert measured[measured["endpoint"].eq("objective")]["status"].tolist() == ["resolved"] * 2


def test_a_return_that_nobody_tested_again_is_unresolved_and_not_unseen(plan):
    tests = [("EP-1", 0, True), ("EP-1", 5, False), ("EP-1", 30, True), ("EP-2", 0, True)]
    tests += [("EP-3", 0, True), ("EP-3", 1, True)]
    measured = measure(plan, tests, episodes=("EP-1", "EP-2", "EP-3"), endpoints=("objective",))
    status = ["resolved", "unresolved", "not_tested_again", "unresolved"]
    assert measured["status"].tolist() == status
    assert rows_of(measured)[1:] == [
        ("EP-1", 2, 30, 0, np.inf, 0),
        ("EP-2", 1, 0, 0, np.inf, 0),
        ("EP-3", 1, 0, 1, np.inf, 1),
    ]


@pytest.mark.parametrize(
    ("how", "status"),
    [
        ({"treated": ("EP-2",)}, "untreated"),
        ({"incomplete": ("EP-1",)}, "incomplete_record"),
        ({"treated": ("EP-2",), "incomplete": ("EP-1",)}, "incomplete_record"),
    ],
)
def test_what_cannot_be_used_has_one_spell_without_information(plan, how, status):
    tests = [("EP-1", 0, True), ("EP-1", 3, True), ("EP-1", 5, False)]
    tests += [("EP-1", 30, True), ("EP-1", 50, False), ("EP-2", 0, True), ("EP-2", 9, False)]
    measured = measure(plan, tests, episodes=("EP-1", "EP-2"), **how)
    assert rows_of(measured) == [("EP-1", 1, 0, 0, np.inf, 0), ("EP-2", 1, 0, 0, 9, 9)]
    assert set(measured.loc[measured["episode_id"].eq("EP-1"), "status"]) == {status}


def test_reports_count_without_a_positive_test_and_tests_do_not(plan):
    contacts = [("EP-1", 2, "yes"), ("EP-1", 8, "no")]
    measured = measure(plan, [("EP-1", 0, False), ("EP-1", 8, False)], contacts)
    status = measured.set_index("endpoint")["status"]
    assert status["patient_reported"] == "resolved"
    assert set(status.drop("patient_reported")) == {"never_positive"}
    assert rows_of(measured, "patient_reported") == [("EP-1", 1, 0, 2, 8, 8)]


def test_a_symptom_outweighs_a_denial_of_the_same_day_and_a_denial_must_confirm(plan):
    contacts = [("EP-1", 3, "no", {"confirming": False}), ("EP-1", 6, "yes"), ("EP-1", 6, "no")]
    contacts += [("EP-1", 7, "unknown"), ("EP-1", 9, "no"), ("EP-1", 12, "no")]
    measured = measure(plan, [("EP-1", 0, True)], contacts)
    assert rows_of(measured, "patient_reported") == [("EP-1", 1, 0, 6, 9, 12)]


def test_strict_resolution_is_told_and_seen_on_one_day(plan):
    tests = [("EP-1", 0, True), ("EP-1", 4, False), ("EP-1", 8, False), ("EP-1", 12, False)]
    contacts = [("EP-1", 2, "yes"), ("EP-1", 6, "no"), ("EP-1", 8, "yes"), ("EP-1", 12, "no")]
    measured = measure(plan, tests, contacts)
    assert rows_of(measured, "strict") == [("EP-1", 1, 0, 8, 12, 12)]


def test_what_is_seen_or_told_alone_keeps_strict_open_if_positive_and_is_nothing_if_not(plan):
    tests = [("EP-1", 0, True), ("EP-1", 3, True), ("EP-1", 7, False), ("EP-1", 12, False)]
    contacts = [("EP-1", 5, "no"), ("EP-1", 12, "no")]
    assert rows_of(measure(plan, tests, contacts), "strict") == [("EP-1", 1, 0, 3, 12, 12)]


def test_the_composite_endpoint_asks_how_the_episode_began(plan):
    def roll(day, horizontal, examination=1):
        more = {"test": "supine_roll", "horizontal": horizontal, "examination": examination}
        return ("EP-1", day, horizontal != "none", more)

    began = [roll(0, "apogeotropic", 1), roll(0, "geotropic", 2), roll(4, "geotropic")]
    assert rows_of(measure(plan, began), "composite") == [("EP-1", 1, 0, 0, 4, 4)]
    other = [roll(0, "geotropic", 1), roll(0, "apogeotropic", 2), roll(4, "geotropic")]
    assert rows_of(measure(plan, other), "composite") == [("EP-1", 1, 0, 4, np.inf, 4)]
    stays = [roll(0, "apogeotropic"), roll(4, "apogeotropic"), roll(9, "none")]
    assert rows_of(measure(plan, stays), "composite") == [("EP-1", 1, 0, 4, 9, 9)]


def test_rows_are_in_order_and_numbered_anew(plan):
    tests = [(f"EP-{n}", 0, True) for n in (2, 1, 3)]
    measured = measure(plan, tests, episodes=("EP-3", "EP-1", "EP-2"), treated=("EP-1", "EP-3"))
    assert measured["episode_id"].tolist() == [f"EP-{n}" for n in (1, 2, 3) for _ in TIMED]
    assert measured["endpoint"].tolist() == sorted(TIMED) * 3
    assert measured.index.tolist() == list(range(3 * len(TIMED)))
    Spells.validate(measured)


def test_only_the_endpoints_that_are_asked_for_are_measured(plan):
    measured = measure(plan, [("EP-1", 0, True)], endpoints=("strict",))
    assert measured["endpoint"].tolist() == ["strict"]
