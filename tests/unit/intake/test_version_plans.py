"""The cell with a list of planned days: what is read of it, and what a delivery of either version
leaves behind."""

import re

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake.cell_values import read_days
from pipeline.intake.identifiers import find_identifier
from pipeline.intake.receive import receive_delivery
from schemas.delivery import MOST_DAYS, NEW, PLANNED_DAY, TABLES
from schemas.store import KEPT
from tests.unit.intake.conftest import (
    build_book,
    current_tables,
    plain_tables,
    to_grids,
    write_book,
    write_csv,
)

DAYS = st.lists(st.integers(0, MOST_DAYS), min_size=1, max_size=9, unique=True)
BETWEEN = st.sampled_from([";", "; ", " ; ", " ;", ", "])


@given(DAYS, st.data())
def test_a_list_is_read_in_whatever_order_and_kept_in_one_form(days, data):
    typed = str(days[0]) + "".join(data.draw(BETWEEN) + str(day) for day in days[1:])
    kept = read_days(typed)
    assert kept == "; ".join(map(str, sorted(days)))
    assert read_days(kept) == kept
    assert re.fullmatch(f"{PLANNED_DAY}(?:; {PLANNED_DAY})*", kept)
    assert find_identifier(typed) is None


@given(DAYS, st.data())
def test_a_day_that_stands_there_twice_is_no_list(days, data):
    days = [*days, data.draw(st.sampled_from(days))]
    assert read_days("; ".join(map(str, days))) is None


@given(st.text(alphabet="0123456789;, .-+/ a", max_size=12))
def test_what_is_read_holds_the_same_numbers_and_nothing_else(typed):
    kept = read_days(typed)
    if kept is not None:
        numbers = [
            int(part) for part in re.findall(r"[+-]?\d+", re.sub(r"[.,]0+(?!\d)", "", typed))
        ]
        assert sorted(numbers) == [int(day) for day in kept.split("; ")]


@given(st.integers(-1000, 1000))
def test_only_days_of_a_year_pass(day):
    assert bool(re.fullmatch(PLANNED_DAY, str(day))) is (0 <= day <= MOST_DAYS)


def receive_version_2(folder, plan, write, **fields):
    tables = current_tables()
    tables["submission"] |= fields
    if "usual_confirmation_day" in fields:
        del tables["submission"]["planned_test_days"]
    return receive_delivery(write(folder, to_grids(tables)), plan)


@pytest.mark.parametrize(
    "write",
    [
        write_csv,
        lambda folder, grids: write_csv(folder, grids, separator=";", decimal=",", mark="\ufeff"),
        lambda folder, grids: write_book(folder, build_book(grids)),
    ],
    ids=["csv", "csv with semicolons", "workbook"],
)
def test_either_version_leaves_the_same_rows_but_for_what_is_new(tmp_path, plan, write):
    older = receive_delivery(write(tmp_path / "a" / "S01" / "001", to_grids(plain_tables())), plan)
    newer = receive_version_2(tmp_path / "b" / "S01" / "001", plan, write)
    for received in (older, newer):
        assert received.accepted
        assert set(received.tables["problems"]["rule"]) <= {"read_with_help"}
    for name, model in TABLES.items():
        new = [column for column, d in model.describe_kept().items() if d.versions == NEW]
        assert older.tables[name][new].isna().all(axis=None)
        drop = ["source_sha256", *new]
        pd.testing.assert_frame_equal(
            older.tables[name].drop(columns=drop), newer.tables[name].drop(columns=drop)
        )
    assert newer.tables["examinations"]["reason"].tolist() == ["symptoms"] * 3 + ["planned"]
    for name in KEPT.keys() - {"deliveries", "planned_days"}:
        pd.testing.assert_frame_equal(older.tables[name], newer.tables[name])
    plans = [
        list(zip(tables["planned_days"]["kind"], tables["planned_days"]["day"], strict=True))
        for tables in (older.tables, newer.tables)
    ]
    assert plans == [[("test", 7)], [("call", 3), ("test", 7), ("test", 14)]]


def test_a_refused_delivery_leaves_no_plan(tmp_path, plan):
    received = receive_version_2(tmp_path / "S01" / "001", plan, write_csv, deidentified="no")
    assert not received.accepted
    assert received.tables["planned_days"].empty


def test_a_site_that_only_takes_the_new_version_has_changed_nothing(tmp_path, plan):
    older = receive_delivery(write_csv(tmp_path / "S01" / "001", to_grids(plain_tables())), plan)
    tables = plain_tables()
    del tables["submission"]["usual_confirmation_day"]
    tables["submission"] |= {"dictionary_version": 2, "delivery": "002"}
    folder = write_csv(tmp_path / "S01" / "002", to_grids(tables))
    assert receive_delivery(folder, plan, older).tables["changes"].empty


def test_the_fault_of_a_list_says_how_it_is_written_and_that_it_may_be_empty(tmp_path, plan):
    folder = tmp_path / "S01" / "001"
    received = receive_version_2(folder, plan, write_csv, planned_test_days="7 and 14")
    problem = received.tables["problems"].set_index("column").loc["planned_test_days"]
    assert "It may be left empty" in problem["message"]
    assert problem["how_to_fix"].endswith("separated by semicolons, such as 7 or 7; 14.")
    received = receive_version_2(folder, plan, write_csv, usual_confirmation_day=7)
    problem = received.tables["problems"].query("rule == 'column_unknown'").iloc[0]
    assert "version 1 of the data dictionary" in problem["message"]
    assert problem["how_to_fix"].endswith("Did you mean planned_test_days?")
