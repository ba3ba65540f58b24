"""Rows are added below those of a workbook, which stays as it was."""

import io

import pytest
from openpyxl import load_workbook
from openpyxl.comments import Comment

from pipeline.coordinator.append import NotAppended, append_rows
from pipeline.coordinator.check import find_folders, judge_folders
from pipeline.coordinator.example import list_example
from pipeline.coordinator.steady import write_steadily
from pipeline.coordinator.template import build_template
from pipeline.desk.visit import make_rows
from pipeline.intake.read import read_delivery
from schemas.dictionary import list_current_entries
from schemas.site_map import SiteMap
from tests.benchmarks import check_speed
from tests.desk_client import ORDINARY

ROWS = make_rows(ORDINARY)
OWN_FORM = {"A": "episode_id", "B": "patient_id"}


@pytest.fixture(scope="module")
def maneuvers(plan):
    return {code: maneuver.name for code, maneuver in plan.maneuvers.items()}


@pytest.fixture(scope="module")
def entries(maneuvers):
    return list_current_entries(maneuvers)


@pytest.fixture
def place(tmp_path):
    folder = tmp_path / "S99" / "001"
    folder.mkdir(parents=True)
    return folder


def add(place, content: bytes, rows, entries):
    for old in place.iterdir():
        old.unlink()
    (place / "S99_001.xlsx").write_bytes(content)
    return append_rows(place, read_delivery(place, SiteMap()), rows, entries)


def list_cells(content: bytes) -> dict:
    book = load_workbook(io.BytesIO(content))
    return {
        (sheet.title, cell.coordinate): (cell.value, cell.number_format, cell.data_type)
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    }


def test_new_rows_stand_below_the_others_and_nothing_else_changed(place, maneuvers, entries):
    before = write_steadily(build_template(maneuvers, list_example()))
    after, first = add(place, before, ROWS, entries)
    assert first == {"episodes": 5, "examinations": 13, "treatments": 6, "followups": 8}
    old, new = list_cells(before), list_cells(after)
    assert {cell: new[cell] for cell in old} == old
    rows = {
        table: {
            int("".join(filter(str.isdigit, at)))
            for sheet, at in new.keys() - old
            if sheet == table
        }
        for table in first
    }
    assert rows == {
        table: set(range(start, start + len(ROWS[table]))) for table, start in first.items()
    }
    assert add(place, before, ROWS, entries)[0] == after


def test_cells_are_what_the_template_would_make_of_them(place, maneuvers, entries):
    empty = write_steadily(build_template(maneuvers))
    after, first = add(place, empty, ROWS, entries)
    assert set(first.values()) == {2}
    by_hand = {
        table: [
            {
                column: int(text)
                if text.lstrip("-").isdecimal() and column != "age_years"
                else text
                for column, text in row.items()
            }
            for row in rows
        ]
        for table, rows in ROWS.items()
    }
    assert list_cells(after) == list_cells(write_steadily(build_template(maneuvers, by_hand)))


def test_a_formula_is_a_text(place, maneuvers, entries):
    empty = write_steadily(build_template(maneuvers))
    rows = {"episodes": [{"episode_id": "=1+1", "prior_episodes": "=2+2", "age_years": "+1"}]}
    cells = list_cells(add(place, empty, rows, entries)[0])
    assert {value for value, _, kind in cells.values() if kind == "f"} == set()
    assert cells["episodes", "A2"][0] == "=1+1"


def test_comments_formats_and_sheets_of_the_site_stay(place, maneuvers, entries):
    book = build_template(maneuvers, list_example())
    book["episodes"]["B3"].comment = Comment("seen twice", "clinic")
    book["episodes"].column_dimensions["C"].width = 41
    after, _ = add(place, write_steadily(book), ROWS, entries)
    again = load_workbook(io.BytesIO(after))
    assert again["episodes"]["B3"].comment.text == "seen twice"
    assert again["episodes"].column_dimensions["C"].width == 41
    assert again.sheetnames == book.sheetnames
    assert len(again["episodes"].data_validations.dataValidation) == len(
        book["episodes"].data_validations.dataValidation
    )


def test_a_large_workbook_keeps_each_of_its_rows(tmp_path, entries, plan, monkeypatch):
    monkeypatch.setattr(check_speed, "EPISODES", 300)
    check_speed.write_site(tmp_path)
    (path,) = (tmp_path / "workbook").rglob("*.xlsx")
    old = list_cells(path.read_bytes())
    first_row = {name: old["episodes", f"{letter}2"][0] for letter, name in OWN_FORM.items()}
    own = {name: f"{code[:-3]}999" for name, code in first_row.items()}  # a pseudonym like theirs
    rows = {
        table: [row | {name: own[name] for name in own.keys() & row.keys()} for row in ROWS[table]]
        for table in ("episodes", "treatments", "followups")
    }
    after, first = append_rows(path.parent, read_delivery(path.parent, SiteMap()), rows, entries)
    new = list_cells(after)
    values = {cell: value for cell, (value, *_) in old.items()}
    assert {cell: new[cell][0] for cell in values} == values
    assert new["episodes", f"A{first['episodes']}"][0] == own["episode_id"]
    path.write_bytes(after)
    with find_folders(path.parent, plan) as folders:
        (judged,) = judge_folders(folders, plan)
    for table, added in rows.items():
        stored = judged.received.tables[table]["episode_id"]
        assert stored.eq(own["episode_id"]).sum() == len(added)


def test_what_is_no_workbook_or_lacks_a_column_is_refused(place, maneuvers, entries):
    with pytest.raises(NotAppended, match="no_workbook"):
        add(place, b"no workbook", ROWS, entries)
    book = build_template(maneuvers)
    book["examinations"].delete_cols(9)  # result
    with pytest.raises(NotAppended, match="no_column"):
        add(place, write_steadily(book), ROWS, entries)
    del book["followups"]
    with pytest.raises(NotAppended, match="no_column"):
        add(place, write_steadily(book), {"followups": ROWS["followups"]}, entries)
    (place / "S99_001.xlsx").unlink()
    (place / "episodes.csv").write_text("episode_id\nEP-1\n", "utf-8")
    with pytest.raises(NotAppended, match="no_workbook"):
        append_rows(place, read_delivery(place, SiteMap()), ROWS, entries)
