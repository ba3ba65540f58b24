"""The template: what it lets a person enter is what the schemas say,
and filled in it passes the gate and the checks as it is."""

import io
import zipfile

import pytest
from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from pipeline.coordinator.entry_rules import TooLong, make_rule, write_hint
from pipeline.coordinator.example import list_example
from pipeline.coordinator.own_pages import DICTIONARY, EXAMPLE, HOW_TO, LISTS
from pipeline.coordinator.steady import write_steadily
from pipeline.coordinator.template import LAST_ROW, build_template
from pipeline.intake.own_sheets import is_sealed
from pipeline.intake.patterns import find_form
from pipeline.intake.problem import DESCRIBED, OF_VERSION
from pipeline.intake.receive import receive_delivery
from schemas.columns import DICTIONARY_VERSION, Integer, Number
from schemas.delivery import TABLES
from schemas.dictionary import Entry, list_entries
from tests.unit.intake.conftest import current_tables, rules_of, to_grids

CURRENT = OF_VERSION[DICTIONARY_VERSION]
OWN = (HOW_TO, EXAMPLE, DICTIONARY, LISTS)


@pytest.fixture(scope="module")
def maneuvers(plan):
    return {code: maneuver.name for code, maneuver in plan.maneuvers.items()}


@pytest.fixture(scope="module")
def made(maneuvers) -> bytes:
    return write_steadily(build_template(maneuvers))


@pytest.fixture(scope="module")
def book(made):
    return load_workbook(io.BytesIO(made))


def locate(book, table: str) -> dict[str, tuple[str, str, object]]:
    """By column: the first cell to fill in, the number format that a person meets there,
    and the rule of that cell."""
    sheet, places = book[table], {}
    rules = {str(rule.sqref).split(":")[0]: rule for rule in sheet.data_validations.dataValidation}
    if table == "submission":
        places = {sheet.cell(row, 1).value: f"B{row}" for row in range(2, sheet.max_row + 1)}
        return {
            name: (place, sheet[place].number_format, rules[place])
            for name, place in places.items()
        }
    for group in sheet.column_dimensions.values():  # neighbours of one format are stored together
        for position in range(group.min, group.max + 1):
            name, letter = sheet.cell(1, position).value, get_column_letter(position)
            places[name] = (f"{letter}2", group.number_format, rules[f"{letter}2"])
    return places


def enter(book, grids: dict) -> None:
    """Enter a delivery as a person would: beside the fields and under the headers that are
    there."""
    for table, (header, *rows) in grids.items():
        places = {name: place for name, (place, _, _) in locate(book, table).items()}
        if table == "submission":
            for name, value in rows:
                book[table][places[name]] = value
            continue
        for number, row in enumerate(rows, 2):
            for name, value in zip(header, row, strict=True):
                book[table][places[name][:-1] + str(number)] = value


def hand_in(folder, book):
    folder.mkdir(parents=True)
    book.save(folder / "template.xlsx")
    return folder


def test_the_example_passes_without_a_single_remark(maneuvers, plan, tmp_path):
    folder = tmp_path / "S99" / "001"
    folder.mkdir(parents=True)
    (folder / "template.xlsx").write_bytes(
        write_steadily(build_template(maneuvers, list_example()))
    )
    received = receive_delivery(folder, plan)
    assert received.accepted
    assert received.tables["problems"].empty
    assert {name: len(received.tables[name]) for name in TABLES} == {
        name: len(rows) for name, rows in list_example().items() if name in TABLES
    }
    assert received.tables["episodes"]["age_years"].tolist() == [57, 90, 58]
    assert all(
        set(row) <= set(DESCRIBED[name]) for name, rows in list_example().items() for row in rows
    )


def test_an_example_that_is_wrong_is_told(maneuvers, plan, tmp_path):
    rows = list_example()
    rows["treatments"][0]["day"] = 1
    folder = tmp_path / "S99" / "001"
    folder.mkdir(parents=True)
    (folder / "template.xlsx").write_bytes(write_steadily(build_template(maneuvers, rows)))
    assert rules_of(receive_delivery(folder, plan)) == {"first_attempt_on_day_0"}


def test_filled_in_by_hand_it_passes(made, plan, tmp_path):
    book = load_workbook(io.BytesIO(made))
    enter(book, to_grids(current_tables()))
    received = receive_delivery(hand_in(tmp_path / "S01" / "001", book), plan)
    assert received.accepted
    assert rules_of(received) == set()
    assert len(received.tables["examinations"]) == len(current_tables()["examinations"])


def test_an_empty_one_is_refused_for_what_is_missing_only(made, plan, tmp_path):
    received = receive_delivery(
        hand_in(tmp_path / "S01" / "001", load_workbook(io.BytesIO(made))), plan
    )
    assert rules_of(received) == {"submission_incomplete", "table_without_rows"}


@pytest.mark.parametrize("name", OWN)
def test_its_own_sheets_are_sealed_and_locked_until_somebody_types(made, plan, tmp_path, name):
    book = load_workbook(io.BytesIO(made))
    enter(book, to_grids(current_tables()))
    texts = {
        (cell.row, cell.column): str(cell.value)
        for row in book[name]
        for cell in row
        if cell.value is not None
    }
    assert is_sealed(texts)
    assert book[name].protection.sheet
    book[name].cell(2, 1, "asked her again by telephone")
    received = receive_delivery(hand_in(tmp_path / "S01" / "001", book), plan)
    assert not received.accepted
    assert rules_of(received) & {"free_text", "identifier_column"}


def test_lists_offer_exactly_the_codes(book, maneuvers):
    for table, columns in CURRENT.items():
        rules = {name: rule for name, (_, _, rule) in locate(book, table).items()}
        assert list(rules) == list(columns)
        for column in columns.values():
            rule, codes = (
                rules[column.name],
                list(maneuvers if column.name == "maneuver" else column.codes or ()),
            )
            assert (rule.type == "list") == bool(codes)
            if codes and rule.formula1.startswith('"'):
                assert rule.formula1.strip('"').split(",") == codes
                assert len(rule.formula1) <= 257
            elif codes:
                cells = book[LISTS][rule.formula1.removeprefix(f"{LISTS}!").replace("$", "")]
                assert [cell.value for (cell,) in cells] == codes
    assert [cell.value for cell in book[LISTS]["B"][1:28]] == list(maneuvers.values())


def test_ids_and_codes_are_texts_and_numbers_are_numbers(book):
    for table, columns in CURRENT.items():
        for column in columns.values():
            _, form, _ = locate(book, table)[column.name]
            number = {Integer: "0", Number: "0.0##"}.get(type(column.dtype))
            assert form == (number if number and column.name != "age_years" else "@")
        assert book[table].freeze_panes == "B2"


def test_numbers_are_held_within_the_bounds(book):
    for table, columns in CURRENT.items():
        for name, (_, _, rule) in locate(book, table).items():
            column = columns[name]
            kind = {Integer: "whole", Number: "decimal"}.get(type(column.dtype))
            if name == "age_years":
                assert rule.type == "custom"
            elif kind:
                bounds = [
                    None if bound is None else float(bound)
                    for bound in (rule.formula1, rule.formula2)
                ]
                assert (rule.type, *bounds) == (kind, column.ge, column.le)
                assert rule.operator == ("greaterThanOrEqual" if column.le is None else "between")
                assert (rule.showErrorMessage, rule.errorStyle) == (True, "stop")


def test_lists_and_hints_reach_to_the_last_row(book):
    for table in TABLES:
        assert all(
            str(rule.sqref).endswith(str(LAST_ROW)) for _, _, rule in locate(book, table).values()
        )
        # formats belong to columns: no row is there before somebody fills it
        assert book[table].max_row == 1


def test_hints_say_it_all_and_are_no_identifier_to_the_gate(book):
    for table, columns in CURRENT.items():
        for name, (_, _, rule) in locate(book, table).items():
            assert rule.showInputMessage
            assert rule.promptTitle == name
            for part in (columns[name].meaning, columns[name].unit, columns[name].example):
                assert part is None or part in rule.prompt
            for text in filter(None, (rule.promptTitle, rule.prompt, rule.errorTitle, rule.error)):
                assert find_form(text) is None, text


def test_the_gate_does_not_need_the_seals_for_that(made, plan, tmp_path):
    book = load_workbook(io.BytesIO(made))
    enter(book, to_grids(current_tables()))
    for name in (HOW_TO, EXAMPLE, DICTIONARY):  # a coordinator may delete them
        del book[name]
    assert rules_of(receive_delivery(hand_in(tmp_path / "S01" / "001", book), plan)) == set()


def test_a_text_that_no_program_would_take_is_an_error_here(maneuvers):
    entry = next(entry for entry in list_entries(maneuvers) if entry.column == "cause")
    assert make_rule(entry, "H2").prompt == write_hint(entry)
    with pytest.raises(TooLong):
        make_rule(Entry(**vars(entry) | {"meaning": "m" * 250}), "H2")


def test_the_same_bytes_each_time(made, maneuvers):
    assert write_steadily(build_template(maneuvers)) == made
    parts = zipfile.ZipFile(io.BytesIO(made))
    assert {part.date_time for part in parts.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert b"<dcterms:" not in parts.read("docProps/core.xml")
