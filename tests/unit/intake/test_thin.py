"""A workbook is read without the cells that repeat others, and nothing of what it holds is read
otherwise for that."""

import io
import re
import zipfile
from datetime import date, time

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font

from pipeline.intake import book_cells
from pipeline.intake.read import read_delivery
from pipeline.intake.thin import thin

TEXTS = (
    "right",
    " right ",
    "a & <b>",
    3,
    2.5,
    1e20,
    True,
    False,
    "=1+1",
    "#N/A",
    date(2024, 1, 2),
    time(3, 4),
    "  ",
)


def make_book() -> Workbook:
    """A sheet of twenty rows in which all kinds of cells stand again and again."""
    book = Workbook()
    sheet = book.active
    sheet.title = "episodes"
    sheet.append(["episode_id", "patient_id", *(f"extra {number}" for number in range(len(TEXTS)))])
    for row in range(20):
        sheet.append([f"EP-{row % 4}", f"PT-{row % 3}", *TEXTS])
        sheet.cell(row + 2, 30).font = Font(bold=True)
    return book


def merge(sheet):
    sheet.merge_cells("A2:B3")
    sheet.merge_cells("C4:C9")
    sheet.merge_cells("D1:E1")


def link(sheet):
    sheet["C2"].hyperlink = "https://clinic.example/one"
    sheet["AF2"].hyperlink = "#episodes!A1"
    sheet["AD5"].hyperlink = "#episodes!A1"  # a cell with a format and no text
    sheet["C7"].hyperlink = "#episodes!A1"


def comment(sheet):
    sheet["C2"].comment = Comment("seen", "somebody")
    sheet["C8"].comment = Comment("seen again", "somebody")
    sheet.row_dimensions[6].hidden = True
    sheet.column_dimensions["B"].hidden = True


def say_nothing(sheet):
    sheet.append([None, None, "", " "])


def reorder(content: bytes) -> bytes:
    return re.sub(rb'<c r="([A-Z]+\d+)" t="(\w+)"', rb'<c t="\2" r="\1"', content)


def indent(content: bytes) -> bytes:
    return content.replace(b"<c ", b"\n  <c ").replace(b"</row>", b"\n</row>")


def remark(content: bytes) -> bytes:
    return content.replace(b"</row>", b"<!-- seen --></row>", 1)


def double(content: bytes) -> bytes:
    return re.sub(rb'(<c r="A3".*?</c>)', rb"\1\1", content)


def mix(content: bytes) -> bytes:
    rows = re.findall(rb"<row .*?</row>", content)
    return content.replace(rows[3] + rows[4], rows[4] + rows[3])


CHANGES = {change.__name__: change for change in (merge, link, comment, say_nothing)}
REWRITTEN = {change.__name__: change for change in (reorder, indent, remark, double, mix)}


def save(folder, book, rewrite=lambda content: content):
    """The workbook as a delivery, its sheet written as `rewrite` makes it."""
    folder.mkdir(parents=True)
    saved = io.BytesIO()
    book.save(saved)
    with zipfile.ZipFile(saved) as source, zipfile.ZipFile(folder / "S01_001.xlsx", "w") as target:
        for name in source.namelist():
            content = source.read(name)
            target.writestr(
                name, rewrite(content) if name == "xl/worksheets/sheet1.xml" else content
            )
    return folder


def describe(handed):
    """All that was read, in a form that can be compared."""
    sheets = [
        (s.table, s.header, s.names, s.cells.to_csv(), s.outside.to_csv()) for s in handed.sheets
    ]
    return sheets, sorted(map(repr, handed.loose)), sorted(map(repr, handed.problems))


@pytest.fixture
def read_both_ways(monkeypatch):
    def read(folder):
        thinned = describe(read_delivery(folder))
        monkeypatch.setattr(book_cells, "thin", lambda archive: None)
        return thinned, describe(read_delivery(folder))

    return read


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES.keys())
def test_same_as_read_whole(change, tmp_path, read_both_ways):
    book = make_book()
    change(book.active)
    thinned, whole = read_both_ways(save(tmp_path / "S01" / "001", book))
    assert thinned == whole
    assert thinned[0]


@pytest.mark.parametrize("rewrite", REWRITTEN.values(), ids=REWRITTEN.keys())
def test_other_ways_to_write_a_sheet(rewrite, tmp_path, read_both_ways):
    folder = save(tmp_path / "S01" / "001", make_book(), rewrite)
    thinned, whole = read_both_ways(folder)
    assert thinned == whole
    assert thinned[0]
    with zipfile.ZipFile(folder / "S01_001.xlsx") as archive:
        assert thin(archive) is None


def test_repeated_cells_are_left_out(tmp_path):
    folder = save(tmp_path / "S01" / "001", make_book())
    with zipfile.ZipFile(folder / "S01_001.xlsx") as archive:
        copy, repeated = thin(archive)
    left = len(load_workbook(copy).active._cells)
    out = sum(len(rows) for columns in repeated.places.values() for rows, _ in columns.values())
    whole = len(load_workbook(folder / "S01_001.xlsx").active._cells)
    assert left + out == whole
    assert out > whole / 2


def test_a_repeated_text_is_searched(tmp_path):
    book = make_book()
    for row in range(2, 12):
        book.active.cell(row, 3).value = "somebody@clinic.example"
    sheet = read_delivery(save(tmp_path / "S01" / "001", book)).sheets[0]
    assert sheet.cells[3].eq("somebody@clinic.example").sum() == 10
