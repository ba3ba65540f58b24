"""Rows that are added to a workbook below those that it has, in the columns that it has."""

from collections.abc import Iterable, Mapping
from pathlib import Path

from openpyxl.cell import Cell

from pipeline.coordinator.entry_rules import TEXT, choose_format
from pipeline.coordinator.opened import enter, open_book
from pipeline.coordinator.own_pages import LEFT
from pipeline.coordinator.steady import write_steadily
from pipeline.intake.handed import Handed, Sheet
from pipeline.intake.read import UNOPENED
from schemas.dictionary import Entry

Rows = Mapping[str, list[dict[str, str]]]  # table: rows of texts by column


class NotAppended(Exception):
    """Nothing can be added to this file; the name of a sentence that quotes nothing."""


def append_rows(
    folder: Path, handed: Handed, rows: Rows, entries: Iterable[Entry]
) -> tuple[bytes, dict[str, int]]:
    """Add rows to the workbook in a folder.

    Parameters
    ----------
    folder
        Where the workbook lies, alone.
    handed
        What was read of it.
    rows
        What to add.
    entries
        What the dictionary says of the columns.

    Returns
    -------
    tuple
        The workbook with the rows, and by table the row number of the first new one. What the
        workbook had stays as in a marked copy.

    Raises
    ------
    NotAppended
        If it is no workbook that can be read, or has no place for a text.
    """
    if handed.form != "workbook" or any(p.rule in UNOPENED for p in handed.problems):
        raise NotAppended("no_workbook")
    formats = {(entry.table, entry.column): choose_format(entry) for entry in entries}
    sheets = {table: handed.sheet(table) for table in rows}
    if not all(
        sheet and all(sheet.positions(column) for row in rows[table] for column in row)
        for table, sheet in sheets.items()
    ):
        raise NotAppended("no_column")
    opened = open_book(folder, handed)
    first = {}
    for table, sheet in sheets.items():
        if sheet is None:
            continue
        first[table] = find_end(sheet) + 1
        for number, row in enumerate(rows[table], first[table]):
            for column, text in row.items():
                cell = opened.sheets[table].cell(number, sheet.positions(column)[0])
                enter_text(cell, text, formats[table, column])
    return write_steadily(opened.book, opened.properties, opened.repeats.complete), first


def find_end(sheet: Sheet) -> int:
    """The last row of a table in which anything stands."""
    return max([sheet.header_row, *sheet.cells.index, *sheet.outside["row"]])


def enter_text(cell: Cell, text: str, form: str) -> None:
    """Enter a text as the template would keep it: a number as a number in a column of numbers,
    everything else as a text, and never a formula."""
    if form == TEXT:
        cell.value, cell.data_type = text, "s"
    else:
        enter(cell, text)
    cell.number_format, cell.alignment = form, LEFT
