"""Files that are not what their names say are refused with what to do."""

import zipfile

import pytest

from pipeline.intake.form import COMPOUND, ENCRYPTED, find_mismatch

ZIPPED = b"PK\x03\x04" + bytes(26)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.csv", b"", "It is empty"),
        ("a.csv", b"\0 \r\n", "It is empty"),
        ("a.xlsx", COMPOUND + bytes(2_000) + ENCRYPTED, "password"),
        ("a.xlsx", COMPOUND + bytes(2_000), "old form"),
        ("a.csv", COMPOUND + bytes(2_000) + ENCRYPTED, "old form"),
        ("a.xlsx", ZIPPED + b"mimetypeapplication/vnd.oasis.opendocument", "OpenDocument"),
        ("a.xlsx", b"<!DOCTYPE html><p>", "no workbook but a web page"),
        ("a.xlsx", b"episode_id;day\n", "no workbook but text"),
        ("a.XLSX", b"episode_id;day\n", "no workbook but text"),
        ("a.xlsx", ZIPPED + b"xl/workbook.xml", "Its end is missing"),
        ("a.csv", ZIPPED + b"xl/workbook.xml", "a workbook and no text"),
    ],
)
def test_a_mismatch_is_told(tmp_path, name, content, says):
    (tmp_path / name).write_bytes(content)
    assert says in find_mismatch(tmp_path / name)


def test_a_text_and_a_workbook_are_what_they_are_called(tmp_path):
    text, book = tmp_path / "a.csv", tmp_path / "a.xlsx"
    text.write_text("episode_id;day\n")
    with zipfile.ZipFile(book, "w") as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
    assert find_mismatch(text) is None
    assert find_mismatch(book) is None


def test_a_long_file_that_begins_with_blanks_is_not_empty(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b" " * 1_000 + b"episode_id")
    assert find_mismatch(path) is None
