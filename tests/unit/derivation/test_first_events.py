"""What ends a spell first: a switch is told from a canal never tested,
from the other ear and from several canals."""

import numpy as np
import pandas as pd
import pytest

from pipeline.adjudication.failure import Record, explain_failures
from pipeline.adjudication.switches import is_switch
from pipeline.derivation.first_events import list_first_events
from tests.failure_cases import FAILED, LATER, RIGHT, SILENT, case, derive, roll

QUIET_ROLL = roll("none", "right")
FIRST = [RIGHT, *QUIET_ROLL]
MOVED = [SILENT | LATER | {"day": 7}, *roll("geotropic", "right", day=7, **LATER)]


def list_first(record: Record, plan, shuffle: int | None = None) -> pd.Series:
    """The first event of a record of one episode, whose rows may be put into another order."""
    spells = record.spells[record.spells["endpoint"].eq("objective")]
    tables = [
        record.adjudications,
        record.examinations,
        record.findings,
        record.treatments,
        record.followups,
    ]
    if shuffle is not None:
        tables = [rows.sample(frac=1, random_state=shuffle + k) for k, rows in enumerate(tables)]
    (row,) = list_first_events(spells, *tables, plan.criteria).iloc
    return row


@pytest.fixture
def record(table, plan):
    """A function from the rows of one episode to its record."""

    def derive_one(tests, treatments=({},), contacts=(), **episode):
        rows_by_table = case(tests, treatments, contacts, **episode)
        return derive({name: table(name, rows) for name, rows in rows_by_table.items()}, plan)

    return derive_one


@pytest.fixture
def first_event(record, plan):
    """A function from the rows of one episode to its first event."""
    return lambda *rows, **named: list_first(record(*rows, **named), plan)


def interval(row: pd.Series) -> tuple:
    return row["cause"], row["left_days"], row["right_days"]


def test_resolution_lies_where_the_spell_says(first_event):
    row = first_event([*FIRST, RIGHT | LATER | {"day": 3}, SILENT | LATER | {"day": 9}])
    assert interval(row) == ("resolved", 3, 9)
    assert (row["seen_cause"], row["seen_day"], row["informative"]) == ("resolved", 9, True)


def test_a_silent_canal_that_turns_positive_is_a_switch_even_if_the_first_one_is_clear(first_event):
    row = first_event([*FIRST, RIGHT | LATER | {"day": 3}, *MOVED])
    assert interval(row) == ("switched", 3, 7)
    assert (row["seen_cause"], row["seen_day"]) == ("switched", 7)


def test_a_canal_that_had_not_been_tested_before_is_no_switch(first_event):
    assert interval(first_event([RIGHT, *MOVED])) == ("resolved", 0, 7)


def test_the_other_ear_is_no_switch(first_event):
    other = [SILENT | LATER | {"day": 7}, *roll("geotropic", "left", day=7, **LATER)]
    assert interval(first_event([*FIRST, *other])) == ("resolved", 0, 7)


def test_two_canals_on_one_day_are_no_switch(first_event):
    both = [RIGHT | LATER | {"day": 7}, *roll("geotropic", "right", day=7, **LATER)]
    assert interval(first_event([*FIRST, *both])) == ("none", 7, np.inf)


def test_what_comes_after_resolution_is_not_first(first_event):
    late = [test | {"day": 30} for test in MOVED]
    assert interval(first_event([*FIRST, SILENT | LATER | {"day": 9}, *late])) == ("resolved", 0, 9)


@pytest.mark.parametrize(("day", "expected"), [(0, ("switched", 0, 1)), (7, ("switched", 6, 7))])
def test_a_switch_that_the_site_recorded_lies_within_the_day_of_its_attempt(
    first_event, day, expected
):
    treatments = [{}, {"attempt": 2, "day": 7}]
    treatments[day > 0] = treatments[day > 0] | {"adverse": "canal_switch"}
    row = first_event([*FAILED, SILENT | LATER | {"day": 14}], treatments)
    assert interval(row) == expected
    assert row["seen_day"] == day
    assert row["informative"]


def test_a_switch_within_day_0_of_somebody_never_examined_again_is_seen_but_not_informative(
    first_event,
):
    row = first_event(FIRST, [{"adverse": "canal_switch"}], [{"day": 7, "contact": "telephone"}])
    assert interval(row) == ("switched", 0, 1)
    assert not row["informative"]
    assert row["seen_cause"] == "switched"


def test_reclassification_ends_the_risk_on_its_day_and_later_tests_tell_nothing(first_event):
    ended = [{"day": 9, "end_of_followup": "reclassified"}]
    row = first_event(
        [*FIRST, RIGHT | LATER | {"day": 5}, *[test | {"day": 9} for test in MOVED]], contacts=ended
    )
    assert interval(row) == ("reclassified", 5, 9)
    never_tested_again = first_event(FIRST, contacts=ended)
    assert interval(never_tested_again) == ("reclassified", 0, 9)
    assert never_tested_again["informative"]


@pytest.mark.parametrize("end", ["lost", "withdrew"])
def test_loss_is_seen_on_the_day_of_its_contact_and_censors_what_is_only_known_by_tests(
    first_event, end
):
    row = first_event(
        [*FIRST, RIGHT | LATER | {"day": 5}], contacts=[{"day": 8, "end_of_followup": end}]
    )
    assert interval(row) == ("none", 5, np.inf)
    assert (row["seen_cause"], row["seen_day"]) == ("lost", 8)


def test_resolution_seen_on_the_last_contact_is_not_loss(first_event):
    row = first_event(
        [*FIRST, SILENT | LATER | {"day": 8}], contacts=[{"day": 8, "end_of_followup": "lost"}]
    )
    assert row["seen_cause"] == "resolved"


def test_whoever_is_still_followed_counts_until_the_last_contact(first_event):
    row = first_event(
        [*FIRST, RIGHT | LATER | {"day": 5}], contacts=[{"day": 20, "end_of_followup": "no"}]
    )
    assert (row["seen_cause"], row["seen_day"]) == ("none", 20)
    unseen = first_event(FIRST)
    assert (unseen["seen_cause"], unseen["seen_day"], unseen["informative"]) == ("none", 0, False)


def test_the_order_of_rows_changes_nothing(record, plan):
    derived = record([*FIRST, RIGHT | LATER | {"day": 3}, *MOVED])
    event = list_first(derived, plan)
    assert all(event.equals(list_first(derived, plan, shuffle=k)) for k in range(3))


@pytest.mark.parametrize(
    ("first", "now", "tested", "expected"),
    [
        ("posterior/right/long/canalolithiasis", "lateral/right/long/canalolithiasis",
         "dix_hallpike supine_roll", True),
        ("posterior/right/long/canalolithiasis", "lateral/left/long/canalolithiasis",
         "dix_hallpike supine_roll", False),
        ("posterior/right/long/canalolithiasis", "lateral/unknown/long/canalolithiasis",
         "supine_roll", True),
        ("posterior/right/long/canalolithiasis", "lateral/right/long/canalolithiasis",
         "dix_hallpike", False),
        ("posterior/right/long/canalolithiasis", "posterior/right/short/canalolithiasis",
         "dix_hallpike", False),
        (
            "anterior/left/long/canalolithiasis posterior/right/short/canalolithiasis",
            "anterior/left/long/canalolithiasis",
            "dix_hallpike",
            False,
        ),
        ("", "lateral/right/long/canalolithiasis", "supine_roll", False),
        ("unknown/right/unknown/unknown", "lateral/right/long/canalolithiasis", "supine_roll",
         False),
    ],
)  # fmt: skip
def test_variants_tell_of_a_move(plan, first, now, tested, expected):
    assert is_switch(first, now, tested, plan.criteria) == expected


@pytest.mark.parametrize(
    "tests",
    [
        [*FIRST, *MOVED],
        [*FIRST, RIGHT | LATER | {"day": 3}, *roll("geotropic", "right", day=5, **LATER), *MOVED],
        [*FIRST, RIGHT | {"vertical": "down", "day": 7} | LATER],
        [*FIRST, RIGHT | {"vertical": "down", "examination": 2, "after_attempt": 1}],
        [RIGHT, *MOVED],
        [*FIRST, *roll("geotropic", "left", day=7, **LATER)],
    ],
)
def test_failure_reasons_and_first_events_know_the_same_switches(record, plan, tests):
    derived = record(tests)
    event = list_first(derived, plan)
    reasons = explain_failures(derived, plan.criteria, plan.maneuvers, plan.failure)
    switch = reasons[reasons["reason"].eq("canal_switch") & reasons["view"].eq("in_hindsight")]
    assert switch["known_day"].tolist() == (
        [event["seen_day"]] if event["cause"] == "switched" else []
    )
