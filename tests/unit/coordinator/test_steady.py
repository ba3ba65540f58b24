"""Workbooks as bytes that are the same each time and tell nothing of who saved them when."""

import io
import zipfile

from openpyxl import Workbook, load_workbook

from pipeline.coordinator.steady import CORE, write_steadily


def make() -> Workbook:
    book = Workbook()
    book.active.append(["episode_id", 7])
    book.properties.creator = "Somebody"
    return book


def test_the_bytes_are_the_same_and_the_cells_are_there():
    content = write_steadily(make())
    assert content == write_steadily(make())
    assert [cell.value for cell in load_workbook(io.BytesIO(content)).active[1]] == [
        "episode_id",
        7,
    ]


def test_nothing_says_who_saved_it_when():
    with zipfile.ZipFile(io.BytesIO(write_steadily(make()))) as archive:
        assert b"Somebody" not in archive.read(CORE)
        assert {part.date_time for part in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_properties_and_additions_to_a_sheet_are_written():
    content = write_steadily(
        make(),
        b"<own/>",
        lambda sheet, written: written.replace(b"</worksheet>", b"<!-- --></worksheet>"),
    )
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.read(CORE) == b"<own/>"
        assert b"<!-- -->" in archive.read("xl/worksheets/sheet1.xml")
