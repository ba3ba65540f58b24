"""Bytes of a workbook that belong to no part of it are found wherever they are."""

import zipfile

import pytest

from pipeline.intake.archive import STRAY, find_stray_bytes

PARTS = {"[Content_Types].xml": b"<Types/>", "xl/workbook.xml": b"<workbook/>" * 40}


def judge(path) -> str | None:
    with zipfile.ZipFile(path) as archive:
        return find_stray_bytes(path, archive)


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "book.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in PARTS.items():
            archive.writestr(name, content)
    return path


def test_a_plain_archive_has_none(book):
    assert judge(book) is None


def test_a_comment_of_the_archive_is_its_own(book):
    with zipfile.ZipFile(book, "a") as archive:
        archive.comment = b"made by a program"
    assert judge(book) is None


@pytest.mark.parametrize("place", ["before", "behind", "between"])
def test_bytes_beside_the_parts_are_found(book, place):
    content = book.read_bytes()
    hidden = b"Zacharias Quillfeather 1952-03-12 " * 3
    if place == "before":
        book.write_bytes(hidden + content)
    elif place == "behind":
        book.write_bytes(content + hidden)
    else:  # a part that the list of parts does not name any more
        with zipfile.ZipFile(book, "w") as archive:
            for name, part in (*PARTS.items(), ("hidden.txt", hidden), ("last.xml", b"<x/>")):
                archive.writestr(name, part)
            archive.filelist = [part for part in archive.filelist if part.filename != "hidden.txt"]
    assert judge(book) == STRAY
