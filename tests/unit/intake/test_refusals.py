"""Every rule that refuses a delivery does so for a case that is made for it,
and for no other reason."""

import zipfile

import pytest
from openpyxl import Workbook

from pipeline.intake.receive import receive_delivery
from tests.unit.intake.conftest import (
    build_book,
    plain_tables,
    rules_of,
    to_grids,
    write_book,
    write_csv,
)


def drop(table, column):
    def change(grids):
        place = grids[table][0].index(column)
        grids[table] = [row[:place] + row[place + 1 :] for row in grids[table]]

    return change


def state_field(field, value):
    def change(grids):
        grids["submission"] = [
            [name, value if name == field else stated] for name, stated in grids["submission"]
        ]

    return change


def put(table, row, column, value):
    def change(grids):
        grids[table][row][grids[table][0].index(column)] = value

    return change


def append_column(table, *cells):
    def change(grids):
        for row, cell in zip(grids[table], cells, strict=False):
            row.append(cell)

    return change


def name_patients(grids):
    for row, name in zip(grids["episodes"][1:], ("QUILL-1", "MEIER-1", "KLEIN-2"), strict=True):
        row[1] = name


REFUSALS = {
    "pseudonyms_differ": name_patients,
    "identifier_column": append_column("episodes", "surname"),
    "calendar_date": put("followups", 1, "day", "14.03.2024"),
    "telephone_number": put("followups", 1, "day", "202-555-0143"),
    "email_address": put("followups", 1, "contact", "a@example.org"),
    "web_address": put("followups", 1, "contact", "www.example.org"),
    "ip_address": put("followups", 1, "contact", "192.0.2.17"),
    "long_number": put("episodes", 1, "episode_id", "4471992"),
    "postcode": put("episodes", 1, "cause", "SW1A 1AA"),
    "age_above_89": put("episodes", 1, "age_years", 90),
    "free_text": append_column("episodes", "remarks", "fell at home"),
    "table_missing": lambda grids: grids.pop("followups"),
    "column_missing": drop("treatments", "attempt"),
    "column_misspelt": lambda grids: grids["treatments"][0].__setitem__(
        grids["treatments"][0].index("maneuver"), "manuever"
    ),
    "column_twice": append_column("treatments", "side"),
    "submission_incomplete": state_field("first_year", None),
    "wrong_site": state_field("site_code", "S02"),
    "wrong_delivery_number": state_field("delivery", "002"),
    "future_dictionary": state_field("dictionary_version", 99),
    "not_deidentified": state_field("deidentified", "no"),
    "years_in_order": state_field("last_year", 2001),
}


@pytest.mark.parametrize("rule", REFUSALS)
def test_a_delivery_is_refused_for_one_reason(folder, plan, rule):
    grids = to_grids(plain_tables())
    REFUSALS[rule](grids)
    received = receive_delivery(write_csv(folder, grids), plan)
    assert rules_of(received, "refuse") == {rule}
    assert not received.accepted


def hand_in_two_workbooks(folder):
    write_book(folder, build_book(to_grids(plain_tables())))
    return write_book(folder, build_book(to_grids(plain_tables())), "again.xlsx")


def hand_in_a_table_twice(folder):
    write_csv(folder, to_grids(plain_tables()))
    (folder / "Episodes.CSV").write_bytes((folder / "episodes.csv").read_bytes())
    return folder


def hand_in_a_picture(folder):
    write_book(folder, build_book(to_grids(plain_tables())))
    with zipfile.ZipFile(folder / "S01_001.xlsx", "a") as book:
        book.writestr("xl/media/image1.png", b"")
    return folder


def hand_in_notes(folder):
    write_csv(folder, to_grids(plain_tables()))
    (folder / "notes.txt").write_text("")
    return folder


def hand_in_garbage(folder):
    folder.mkdir(parents=True)
    (folder / "S01.xlsx").write_bytes(b"garbage")
    return folder


def hand_in_a_wide_row(folder):
    write_csv(folder, to_grids(plain_tables()))
    (folder / "followups.csv").write_text("," * 100_000)
    return folder


def hand_in_a_formula(folder):
    book: Workbook = build_book(to_grids(plain_tables()))
    book["episodes"]["C2"] = "=50+7"
    return write_book(folder, book)


def hand_in_an_old_form(folder):
    folder.mkdir(parents=True)
    (folder / "delivery.xls").write_bytes(bytes.fromhex("d0cf11e0a1b11ae1"))
    return folder


def hand_in_a_link(folder):
    write_csv(folder, to_grids(plain_tables()))
    theirs = folder.parent.parent / "theirs.csv"
    (folder / "followups.csv").rename(theirs)
    (folder / "followups.csv").symlink_to(theirs)
    return folder


FILES = {
    "no_tables": hand_in_two_workbooks,
    "table_twice": hand_in_a_table_twice,
    "embedded_object": hand_in_a_picture,
    "stray_file": hand_in_notes,
    "stands_for_another": hand_in_a_link,
    "unreadable": hand_in_garbage,
    "other_form": hand_in_an_old_form,
    "not_opened": hand_in_a_wide_row,
    "formula_without_result": hand_in_a_formula,
}


@pytest.mark.parametrize("rule", FILES)
def test_files_are_refused_for_one_reason(folder, plan, rule):
    received = receive_delivery(FILES[rule](folder), plan)
    assert rules_of(received, "refuse") == {rule}


@pytest.mark.parametrize(
    ("hand_in", "rule", "names"),
    [
        (hand_in_two_workbooks, "no_tables", ("S01_001.xlsx", "file 2")),
        (hand_in_a_table_twice, "table_twice", ("Episodes.CSV", "episodes.csv")),
    ],
)
def test_two_files_for_one_table_are_both_named(folder, plan, hand_in, rule, names):
    problems = receive_delivery(hand_in(folder), plan).tables["problems"]
    message = problems.loc[problems["rule"] == rule, "message"].item()
    assert all(name in message for name in names)
