"""The template workbook: a sheet a table with drop-down lists,
hints and cell formats that keep codes and numbers what they are.

Filled in, it is handed in as it is; its other sheets come back unread
(pipeline/coordinator/own_pages.py).
"""

from collections.abc import Mapping, Sequence

from openpyxl import Workbook
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.coordinator.entry_rules import choose_format, make_rule, needs_range
from pipeline.coordinator.example import Row
from pipeline.coordinator.own_pages import (
    LEFT,
    add_dictionary,
    add_example,
    add_how_to,
    add_lists,
    paint_header,
)
from schemas.columns import DICTIONARY_VERSION
from schemas.dictionary import DELIVERED, Entry, list_current_entries

LAST_ROW = 1_048_576  # of a sheet: lists and hints never end before it
NARROWEST, ARROW = 11, 4  # letters: the least width, and what the arrow of a list takes


def build_template(
    maneuvers: Mapping[str, str], rows: Mapping[str, Sequence[Row]] | None = None
) -> Workbook:
    """The workbook. `maneuvers` are the plan's list, code and name; `rows` by table are filled in,
    as a trial delivery needs them."""
    entries = list_current_entries(maneuvers)
    book = Workbook()
    book.remove(book.active)
    add_how_to(book)
    sheets = {table: book.create_sheet(table) for table in DELIVERED}
    add_example(book, entries)
    add_dictionary(book, entries)
    ranges = add_lists(book, [entry for entry in entries if needs_range(entry)])
    for table, sheet in sheets.items():
        add_columns = _add_fields if table == "submission" else _add_columns
        add_columns(
            sheet,
            [entry for entry in entries if entry.table == table],
            ranges,
            (rows or {}).get(table, ()),
        )
    return book


def _add_columns(
    sheet: Worksheet, entries: list[Entry], ranges: Mapping[str, str], rows: Sequence[Row]
) -> None:
    for position, entry in enumerate(entries, 1):
        letter = get_column_letter(position)
        paint_header(sheet.cell(1, position, entry.column), needed=entry.needed)
        width = max(len(entry.column) + 3, max(map(len, entry.codes), default=0) + ARROW, NARROWEST)
        sheet.column_dimensions[letter].width = width
        sheet.column_dimensions[letter].number_format = choose_format(entry)
        sheet.column_dimensions[letter].alignment = LEFT
        rule = make_rule(entry, f"{letter}2", ranges.get(entry.column))
        rule.add(f"{letter}2:{letter}{LAST_ROW}")
        sheet.add_data_validation(rule)
        for number, row in enumerate(rows, 2):
            if (value := row.get(entry.column)) is not None:
                cell = sheet.cell(number, position, value)
                cell.number_format, cell.alignment = choose_format(entry), LEFT
    sheet.freeze_panes = "B2"


def _add_fields(
    sheet: Worksheet, entries: list[Entry], ranges: Mapping[str, str], rows: Sequence[Row]
) -> None:
    values = {"dictionary_version": DICTIONARY_VERSION} | (rows[0] if rows else {})
    for letter, name, width in (("A", "field", 28), ("B", "value", 24)):
        paint_header(sheet[f"{letter}1"], needed=True)
        sheet[f"{letter}1"] = name
        sheet.column_dimensions[letter].width = width
    for number, entry in enumerate(entries, 2):
        paint_header(sheet.cell(number, 1, entry.column), needed=entry.needed)
        cell = sheet.cell(number, 2, values.get(entry.column))
        cell.number_format, cell.alignment = choose_format(entry), LEFT
        rule = make_rule(entry, cell.coordinate, ranges.get(entry.column))
        rule.add(cell.coordinate)
        sheet.add_data_validation(rule)
    sheet.freeze_panes = "B2"
