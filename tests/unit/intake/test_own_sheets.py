"""Sheets that the project wrote into a workbook come back unread,
and only as long as nobody typed into them."""

import pytest
from openpyxl.comments import Comment

from pipeline.intake.own_sheets import make_seal
from pipeline.intake.receive import receive_delivery
from tests.unit.intake.conftest import build_book, plain_tables, rules_of, to_grids, write_book

LINES = [
    "Cells to mend",
    "episodes B7: this code is not in the list",
    "every sentence here has more than three words",
]


def book_with_own_sheet(sealed: str | None = None):
    book = build_book(to_grids(plain_tables()))
    sheet = book.create_sheet("to mend", 0)
    for text in [*LINES, sealed or make_seal(LINES)]:
        sheet.append([text])
    return book


def receive(folder, plan, book):
    return receive_delivery(write_book(folder, book), plan)


def test_a_sealed_sheet_and_its_comments_are_read_past(folder, plan):
    book = book_with_own_sheet()
    book["episodes"]["B7"].comment = Comment(LINES[1], "pipeline")
    received = receive(folder, plan, book)
    assert received.accepted
    assert rules_of(received) == set()


def test_other_comments_are_still_refused(folder, plan):
    book = book_with_own_sheet()
    book["episodes"]["B7"].comment = Comment("asked again by telephone", "somebody")
    assert rules_of(receive(folder, plan, book)) == {"free_text"}


@pytest.mark.parametrize("place", ["A2", "B2", "A9"])
def test_a_word_typed_into_it_breaks_the_seal(folder, plan, place):
    book = book_with_own_sheet()
    book["to mend"][place] = "typed by hand"
    received = receive(folder, plan, book)
    assert not received.accepted or "table_unknown" in rules_of(received)
    assert rules_of(received)


def test_a_seal_of_other_texts_is_none(folder, plan):
    assert rules_of(receive(folder, plan, book_with_own_sheet(make_seal(["something else"]))))
