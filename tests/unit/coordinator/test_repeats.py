"""A workbook is marked without holding the cells that repeat others,
and comes out as if all of them had been held."""

import io
import zipfile
from datetime import date, time

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.comments import Comment
from openpyxl.styles import Border, PatternFill, Side

from pipeline.coordinator import opened
from pipeline.coordinator.marked import mark_delivery
from pipeline.intake.read import read_delivery
from pipeline.intake.receive import receive_delivery
from pipeline.intake.thin import FIRST_ROWS
from tests.unit.coordinator.test_marked import build_faulty
from tests.unit.intake.conftest import plain_tables, to_grids, write_book, write_csv

BELOW = FIRST_ROWS + 1


def enter_again(sheet, position: int, value: object = "again"):
    """The same again and again, in the first rows and below them."""
    for row in (*range(2, 6), *range(BELOW, BELOW + 6)):
        sheet.cell(row, position).value = value
        sheet.cell(row, position).fill = PatternFill("solid", fgColor="00FF00")


def enter_only(sheet):
    enter_again(sheet, 30)
    enter_again(sheet, 31, None)


def merge_a_title(sheet):
    for column in range(30, 34):
        sheet.cell(1, column).border = Border(bottom=Side("thick"))
    enter_again(sheet, 30)
    sheet.merge_cells("AD1:AG1")


def merge_below(sheet):
    for row in range(BELOW, BELOW + 6):
        for column in (30, 31):
            sheet.cell(row, column).value = "again"
            sheet.cell(row, column).border = Border(bottom=Side("thick"))
    sheet.merge_cells(start_row=BELOW + 2, end_row=BELOW + 4, start_column=30, end_column=31)


def merge_around(sheet):
    enter_again(sheet, 31)
    for row in (BELOW + 2, BELOW + 4):
        sheet.cell(row, 30).value = sheet.cell(row, 32).value = f"row {row}"
    sheet.merge_cells(start_row=BELOW + 2, end_row=BELOW + 4, start_column=30, end_column=32)


def comment(sheet):
    enter_again(sheet, 30)
    enter_again(sheet, 31, None)
    for row, column in ((3, 30), (BELOW, 30), (BELOW + 2, 30), (BELOW + 2, 31)):
        sheet.cell(row, column).comment = Comment("seen", "somebody")


def link(sheet):
    enter_again(sheet, 30)
    for row in (3, BELOW, BELOW + 2):
        sheet.cell(row, 30).hyperlink = "https://clinic.example/one"


def link_an_empty_cell(sheet):
    enter_again(sheet, 30, None)
    sheet.cell(BELOW + 2, 30).hyperlink = "https://clinic.example/one"


def link_the_first(sheet):
    enter_again(sheet, 30, None)
    enter_again(sheet, 31, "https://clinic.example/one")
    sheet.cell(BELOW, 30).hyperlink = "https://clinic.example/one"
    sheet.cell(BELOW, 31).hyperlink = "https://clinic.example/one"


def shape_rows(sheet):
    enter_again(sheet, 30)
    for row in range(2, 40):
        sheet.row_dimensions[row].height = 20
    sheet.row_dimensions[BELOW + 3].hidden = True


def write_in_runs(sheet):
    enter_again(sheet, 30, CellRichText("plain ", TextBlock(InlineFont(b=True), " bold & <b>")))
    enter_again(sheet, 31, "  blanks\naround & <b> é ")
    enter_again(sheet, 32, "=1+1")
    for position, value in enumerate((True, 2.5, 1e20, date(2024, 1, 2), time(3, 4), "#N/A"), 33):
        enter_again(sheet, position, value)


CHANGES = (
    enter_only,
    merge_a_title,
    merge_below,
    merge_around,
    comment,
    link,
    link_an_empty_cell,
    link_the_first,
    shape_rows,
    write_in_runs,
)


# what others repeat there is not what the library holds, so that it must hold all cells
HELD = (merge_below, link_an_empty_cell, link_the_first)


def list_parts(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def mark(folder, plan) -> bytes:
    return mark_delivery(folder, read_delivery(folder), receive_delivery(folder, plan))


@pytest.mark.parametrize("change", CHANGES)
def test_same_as_if_the_library_had_held_all_cells(change, tmp_path, plan, monkeypatch):
    book, folder = build_faulty(), tmp_path / "S01" / "001"
    change(book["examinations"])
    for row in range(BELOW, BELOW + 6):
        book["examinations"].cell(row, 5).value = "dix_halpike"  # to be marked
    write_book(folder, book)
    left_out = opened.open_book(folder, read_delivery(folder)).repeats.columns
    assert bool(left_out) == (change not in HELD)
    sparing = mark(folder, plan)
    monkeypatch.setattr(opened, "thin", lambda archive, **how: None)
    assert list_parts(sparing) == list_parts(mark(folder, plan))


def test_a_marked_copy_is_marked_again(tmp_path, plan, monkeypatch):
    write_book(tmp_path / "S01" / "001", build_faulty())
    again = tmp_path / "other" / "S01" / "001"
    again.mkdir(parents=True)
    (again / "S01_001.xlsx").write_bytes(mark(tmp_path / "S01" / "001", plan))
    sparing = mark(again, plan)
    monkeypatch.setattr(opened, "thin", lambda archive, **how: None)
    assert list_parts(sparing) == list_parts(mark(again, plan))


def test_texts_of_files_are_all_there_and_the_library_held_few(tmp_path, plan):
    grids = to_grids(plain_tables())
    # rows that repeat a test are to be mended
    grids["examinations"] += [grids["examinations"][1]] * 500
    folder = write_csv(tmp_path / "S01" / "001", grids)
    handed = read_delivery(folder)
    made = opened.open_book(folder, handed)
    assert sum(len(sheet._cells) for sheet in made.book.worksheets) < 1_000
    book: Workbook = load_workbook(io.BytesIO(mark(folder, plan)))
    for name, grid in grids.items():
        shown = [
            [None if value is None else str(value) for value in row] for row in book[name].values
        ]
        assert shown == [[None if text is None else str(text) for text in row] for row in grid]
