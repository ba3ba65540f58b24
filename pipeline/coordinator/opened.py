"""The workbook in which a delivery is marked: the site's own,
or one that is made from its text files."""

import re
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from openpyxl import Workbook, load_workbook
from openpyxl.cell import Cell
from openpyxl.formatting.formatting import ConditionalFormattingList
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.coordinator.problem_list import LIST
from pipeline.coordinator.repeats import Repeats, find_repeats
from pipeline.coordinator.steady import CORE, NO_PROPERTIES
from pipeline.intake.book_cells import (
    BookSheet,
    ContentUnknown,
    gather_cells,
    join_cells,
    load_thinned,
)
from pipeline.intake.handed import Handed, Sheet
from pipeline.intake.own_sheets import is_sealed_comment
from pipeline.intake.read_workbook import split_own_sheets
from pipeline.intake.thin import thin

ALWAYS = "ISNUMBER(ROW())"  # the formula of our formats, by which they are known
PLAIN_NUMBER = re.compile(r"-?(?:0|[1-9]\d{0,8})(?:\.\d{1,9})?")


@dataclass(frozen=True)
class Opened:
    """A workbook to mark, and what it says of its author and dates.

    `sheets` are those of the site, by the names that their problems are told under, and `repeats`
    the cells that the library does not hold.
    """

    book: Workbook
    properties: bytes
    sheets: dict[str, Worksheet]
    repeats: Repeats


def open_book(folder: Path, handed: Handed) -> Opened:
    """The site's workbook without the marks of an earlier time,
    or a workbook made from its text files, every text as it was typed."""
    if handed.form != "workbook":
        return make_book(handed.sheets)
    path = next(
        path
        for path in folder.iterdir()
        if path.suffix.lower() == ".xlsx" and path.name[0] not in "~."
    )
    with zipfile.ZipFile(path) as archive:
        properties = archive.read(CORE) if CORE in archive.namelist() else NO_PROPERTIES
        book, cells, repeats = load_book(path, archive)
    sources = [sheet.source for sheet in split_own_sheets(cells)[1].values()]
    unmark(book, {source.title for source in sources})
    sheets = {
        sheet.table: source for sheet, source in zip(handed.sheets, sources, strict=True)
    }  # they are read in their order
    return Opened(book, properties, sheets, repeats)


def load_book(
    path: Path, archive: zipfile.ZipFile
) -> tuple[Workbook, Iterable[BookSheet], Repeats]:
    """A workbook with its formulas as the library reads it, the cells of its sheets,
    and those that it does not hold."""
    if thinned := thin(archive, to_write=True):
        copy, repeated = thinned
        book, parts = load_thinned(copy, rich_text=True)
        try:
            return book, join_cells(book, parts, repeated), find_repeats(book, parts, repeated)
        except ContentUnknown:
            pass
    book = load_workbook(path, rich_text=True)
    return book, map(gather_cells, book.worksheets), Repeats()


def unmark(book: Workbook, kept: set[str]) -> None:
    """Take out the list, the comments and the colours of an earlier marking;
    the sheets `kept` are no list of ours, whatever their titles."""
    for sheet in list(book.worksheets):
        if sheet.title.startswith(LIST) and sheet.title not in kept:
            book.remove(sheet)
            continue
        for cell in sheet._cells.values():
            if cell.comment and is_sealed_comment(cell.comment.text):
                cell.comment = None
        formats, sheet.conditional_formatting = (
            sheet.conditional_formatting,
            ConditionalFormattingList(),
        )
        for area in formats:
            for rule in area.rules:
                if rule.formula != [ALWAYS]:
                    sheet.conditional_formatting.add(str(area.sqref), rule)


def make_book(tables: Iterable[Sheet]) -> Opened:
    """A workbook with a sheet for each table; each different text is a cell of the library once."""
    book, repeats = Workbook(), Repeats()
    sheets: dict[str, Worksheet] = {}
    known: dict[str, int] = {}
    book.remove(book.active)
    for table in tables:
        sheets[table.table] = sheet = book.create_sheet(table.table)
        for position, text in table.header.items():
            enter(sheet.cell(table.header_row, position), text)
        for row, position, text in table.outside.itertuples(index=False, name=None):
            enter(sheet.cell(row, position), text)
        repeats.columns[sheet.title] = {
            position: enter_column(sheet, position, texts.dropna(), known, repeats.firsts)
            for position, texts in table.cells.items()
        }
    return Opened(book, NO_PROPERTIES, sheets, repeats)


def enter_column(
    sheet: Worksheet,
    position: int,
    texts: pd.Series,
    known: dict[str, int],
    firsts: list[Cell | None],
) -> tuple[np.ndarray, np.ndarray]:
    """Enter the texts that are not `known` from elsewhere; the rows of all others,
    and which of the `firsts` they repeat."""
    codes, different = pd.factorize(texts)
    new = [text not in known for text in different]
    for text in different:
        known.setdefault(text, len(known))
    numbers = np.array([known[text] for text in different], dtype=np.int64)[codes]
    entered = ~texts.duplicated().to_numpy() & np.array(new, dtype=bool)[codes]
    for row, text in texts[entered].items():
        cell = sheet.cell(row, position)
        enter(cell, text)
        firsts.append(cell)
    rows = texts.index.to_numpy(dtype=np.int64)
    return rows[~entered], numbers[~entered]


def enter(cell: Cell, text: str) -> None:
    """Enter a text as it was typed: a number where it is one in the plain form,
    and never a formula."""
    if PLAIN_NUMBER.fullmatch(text):
        cell.value = float(text) if "." in text else int(text)
    else:
        cell.value, cell.data_type, cell.number_format = text, "s", "@"
