"""The template: filled in, it passes the gate and the checks as it is, also after another program has saved it."""

import io
import shutil
import subprocess
import zipfile

import pytest
from openpyxl import load_workbook

from pipeline.desk.template import LAST_ROW, build_template, list_examples, write_template
from pipeline.intake.problem import DESCRIBED
from pipeline.intake.receive import receive_delivery
from schemas.columns import Integer, Number
from schemas.delivery import TABLES
from tests.unit.intake.conftest import plain_tables, rules_of, to_grids

OFFICE = shutil.which("soffice")


@pytest.fixture(scope="module")
def book(plan):
    return load_workbook(io.BytesIO(write_template(build_template(list(plan.maneuvers)))))


def fill(book, grids: dict) -> None:
    """Enter a delivery as a person would: under the headers that are there."""
    for name, grid in grids.items():
        sheet = book[name]
        if name == "submission":
            values = dict(grid[1:])
            for row in range(2, sheet.max_row + 1):
                sheet.cell(row, 2, values.get(sheet.cell(row, 1).value, sheet.cell(row, 2).value))
            continue
        places = {sheet.cell(1, column).value: column for column in range(1, sheet.max_column + 1)}
        for row, cells in enumerate(grid[1:], start=2):
            for column, value in zip(grid[0], cells, strict=True):
                sheet.cell(row, places[column], value)


def fill_and_save(plan, folder):
    book = load_workbook(io.BytesIO(write_template(build_template(list(plan.maneuvers)))))
    fill(book, to_grids(plain_tables()))
    folder.mkdir(parents=True)
    book.save(folder / "S01_001.xlsx")


def test_filled_in_it_passes_unchanged(plan, tmp_path):
    folder = tmp_path / "S01" / "001"
    fill_and_save(plan, folder)
    received = receive_delivery(folder, plan)
    assert rules_of(received) == set()
    assert received.accepted
    assert {name: len(received.tables[name]) for name in TABLES} == {
        name: len(rows) - 1 for name, rows in to_grids(plain_tables()).items() if name in TABLES
    }


@pytest.mark.skipif(OFFICE is None, reason="needs LibreOffice to save the workbook again")
def test_it_passes_when_another_program_has_saved_it(plan, tmp_path):
    fill_and_save(plan, tmp_path / "S01" / "000")
    folder = tmp_path / "S01" / "001"
    profile = f"-env:UserInstallation=file://{tmp_path / 'profile'}"
    command = [
        OFFICE,
        profile,
        "--headless",
        "--convert-to",
        "xlsx",
        "--outdir",
        str(folder),
        str(tmp_path / "S01" / "000" / "S01_001.xlsx"),
    ]
    subprocess.run(command, check=True, capture_output=True, timeout=180)
    received = receive_delivery(folder, plan)
    assert rules_of(received) == set()
    assert received.accepted


def test_what_is_typed_into_its_own_sheets_is_seen(plan, tmp_path):
    folder = tmp_path / "S01" / "001"
    fill_and_save(plan, folder)
    changed = load_workbook(folder / "S01_001.xlsx")
    changed["example"]["B9"] = "ours"
    changed.save(folder / "S01_001.xlsx")
    assert "table_unknown" in rules_of(receive_delivery(folder, plan))


def test_lists_offer_exactly_the_codes(book, plan):
    long_lists = book["lists"]
    for table, columns in DESCRIBED.items():
        rules = {rule.promptTitle: rule for rule in book[table].data_validations.dataValidation}
        for column in columns.values():
            rule = rules[column.name[:31]]
            codes = list(plan.maneuvers) if column.name == "maneuver" else list(column.codes or ())
            if not codes:
                assert rule.type != "list"
            elif rule.formula1.startswith('"'):
                assert rule.formula1.strip('"').split(",") == codes
            else:
                cells = long_lists[rule.formula1.removeprefix("lists!").replace("$", "")]
                assert [cell.value for (cell,) in cells] == codes
            assert column.meaning[:100] in rule.prompt


def test_ids_and_codes_are_texts_and_numbers_are_numbers(book):
    for table in TABLES:
        for position, column in enumerate(DESCRIBED[table].values(), start=1):
            letter = book[table].cell(1, position).column_letter
            number = isinstance(column.dtype, Integer | Number) and column.name != "age_years"
            assert (book[table].column_dimensions[letter].number_format == "@") == (not number)
        assert book[table].freeze_panes == "B2"
        assert all(str(LAST_ROW) in str(rule.sqref) for rule in book[table].data_validations.dataValidation)


def test_the_example_fits_the_columns():
    rows = list_examples()
    for table, columns in DESCRIBED.items():
        at = rows.index([table])
        assert rows[at + 1] == list(columns)
        for column, cell in zip(columns.values(), rows[at + 2], strict=True):
            assert cell == "(empty)" or not column.codes or cell in column.codes


def test_the_same_bytes_each_time(plan):
    one, two = (write_template(build_template(list(plan.maneuvers))) for _ in range(2))
    assert one == two
    assert {part.date_time[0] for part in zipfile.ZipFile(io.BytesIO(one)).infolist()} == {1980}
