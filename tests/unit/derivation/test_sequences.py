"""Sequences: what was given up to resolution, in its order, with repeats visible."""

import pandas as pd
import pytest

from pipeline.derivation.sequences import list_sequences
from schemas.strata import THEN, TOGETHER, check_stratum
from tests.failure_cases import LATER, RIGHT, SILENT, case, derive


@pytest.fixture
def sequence(table, plan):
    """A function from the rows of one episode to its sequence, or None if it has none."""

    def find(tests, treatments=({},), shuffle=False, **episode):
        record = derive(
            {name: table(name, rows) for name, rows in case(tests, treatments, **episode).items()},
            plan,
        )
        tables = [record.attempts, record.adjudications, record.spells]
        if shuffle:
            tables = [rows.sample(frac=1, random_state=3) for rows in tables]
        rows = list_sequences(*tables)
        assert len(rows) <= 1
        return rows.iloc[0] if len(rows) else None

    return find


def examined(day: int, positive: bool) -> dict:
    return (RIGHT if positive else SILENT) | LATER | {"day": day}


def give(*sessions: tuple[int, str]) -> list[dict]:
    return [
        {"attempt": n, "day": day, "maneuver": code}
        for n, (day, code) in enumerate(sessions, start=1)
    ]


def test_repeats_and_changes_stand_in_their_order(sequence):
    tests = [RIGHT, examined(7, True), examined(14, True), examined(21, False)]
    path = sequence(tests, give((0, "epley"), (7, "epley"), (14, "semont_plus")))
    assert path["path"] == "epley > epley > semont"
    assert path["outcomes"] == "positive > positive > negative"
    assert (path["sessions"], path["resolved_after"], path["status"]) == (3, 3, "resolved")


def test_what_is_given_on_or_after_the_day_of_resolution_is_no_way_to_it(sequence):
    tests = [RIGHT, examined(7, False) | {"after_attempt": 1}, examined(60, False)]
    path = sequence(tests, give((0, "epley"), (7, "semont"), (20, "epley")))
    assert path["path"] == "epley"
    assert (path["sessions"], path["resolved_after"]) == (1, 1)


def test_a_return_within_the_gap_belongs_to_the_same_path(sequence):
    tests = [RIGHT, examined(7, False), examined(12, True), examined(20, False)]
    path = sequence(tests, give((0, "epley"), (12, "semont")))
    assert path["path"] == "epley > semont"
    assert path["outcomes"] == "negative > negative"
    assert path["resolved_after"] == 2


def test_the_test_that_shows_resolution_is_not_one_before_a_return(sequence):
    once, returned, again = (
        sequence([RIGHT, examined(3, False), *later], give(*sessions))
        for later, sessions in [
            ([examined(20, False)], [(0, "epley")]),
            ([examined(8, True), examined(20, False)], [(0, "epley")]),
            ([examined(8, True), examined(20, False)], [(0, "epley"), (8, "epley")]),
        ]
    )
    assert [path["outcomes"] for path in (once, returned, again)] == [
        "negative",
        "negative",
        "negative > negative",
    ]
    assert [path["at_next_test"] for path in (once, returned, again)] == [True, False, True]


def test_whoever_is_not_resolved_has_no_test_that_shows_it(sequence):
    assert pd.isna(
        sequence([RIGHT, examined(3, False), examined(8, True)], give((0, "epley")))["at_next_test"]
    )


def test_a_recurrence_is_no_part_of_the_path(sequence):
    tests = [RIGHT, examined(7, False), examined(60, True), examined(67, False)]
    assert sequence(tests, give((0, "epley"), (60, "semont")))["path"] == "epley"


def test_families_of_one_session_stay_together(sequence):
    path = sequence([RIGHT, examined(7, True)], give((0, "epley"), (0, "semont"), (7, "epley")))
    assert path["path"] == f"epley{TOGETHER}semont{THEN}epley"
    check_stratum(f"path={path['path']}")  # else the paths of a larger pool could not be stated
    assert path["outcomes"] == "positive > not_tested_again"
    assert path["status"] == "unresolved"
    assert pd.isna(path["resolved_after"])


def test_an_open_path_has_all_its_sessions(sequence):
    path = sequence([RIGHT], give((0, "epley"), (9, "epley")))
    assert path["outcomes"] == "not_tested_again > not_tested_again"
    assert path["status"] == "not_tested_again"


def test_neither_untreated_nor_non_positional_episodes_have_a_path(sequence):
    assert sequence([RIGHT], ()) is None
    assert (
        sequence([RIGHT | {"vertical": "down", "torsion": "none"}], focal_neurological_sign="yes")
        is None
    )


def test_each_session_has_its_outcome_and_order_of_rows_changes_nothing(sequence):
    tests = [RIGHT, examined(7, True), examined(14, True), examined(21, True)]
    treatments = give((0, "epley"), (7, "semont"), (14, "epley"), (21, "brandt_daroff"))
    path = sequence(tests, treatments)
    assert (
        len(path["path"].split(THEN)) == len(path["outcomes"].split(THEN)) == path["sessions"] == 4
    )
    assert path.equals(sequence(tests, treatments, shuffle=True))
