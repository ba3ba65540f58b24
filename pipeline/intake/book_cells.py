"""The texts of a workbook's cells by sheet: those that the library read,
and those that repeat them (pipeline.intake.thin)."""

import zipfile
from collections import defaultdict
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import numpy as np
from openpyxl import Workbook, load_workbook
from openpyxl.cell import MergedCell
from openpyxl.reader.excel import ExcelReader
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.intake.handed import to_text
from pipeline.intake.thin import Place, Repeated, thin

Cells = tuple[np.ndarray, np.ndarray]  # of a column: rows in order, and the text of each


class ContentUnknown(Exception):
    """What a repeated cell holds cannot be told, since the one that it repeats was covered or
    linked."""


@dataclass(frozen=True)
class BookSheet:
    """One sheet: what the library read of it, and by position the cells that hold something."""

    source: Worksheet
    columns: dict[int, Cells]

    def list_texts(self) -> set[str]:
        """All different texts."""
        return {text for _, texts in self.columns.values() for text in texts}

    def list_places(self, last_row: int | None = None) -> dict[tuple[int, int], str]:
        """The texts by row and position, down to a row."""
        return {
            (row, position): text
            for position, (rows, texts) in self.columns.items()
            for row, text in zip(
                rows[: None if last_row is None else last_row].tolist(), texts, strict=False
            )
            if last_row is None or row <= last_row
        }


@dataclass(frozen=True)
class Book:
    """A workbook as the library read it with the results of its formulas.

    Attributes
    ----------
    book
        The library's own workbook.
    sheets
        Its sheets.
    in_order
        Parts of the archive in which no cell is written twice for sure.
    with_formulas
        The file that holds the formulas themselves.
    """

    book: Workbook
    sheets: tuple[BookSheet, ...]
    in_order: frozenset[str]
    with_formulas: Path | BytesIO


def read_book(path: Path, archive: zipfile.ZipFile) -> Book:
    """Read a workbook; raises whatever the library raises where it is broken."""
    if thinned := thin(archive):
        copy, repeated = thinned
        book, parts = load_thinned(copy, data_only=True)
        try:
            return Book(
                book, tuple(join_cells(book, parts, repeated)), frozenset(repeated.in_order), copy
            )
        except ContentUnknown:
            pass
    book = load_workbook(path, data_only=True)
    return Book(book, tuple(gather_cells(sheet) for sheet in book.worksheets), frozenset(), path)


def load_thinned(copy: BytesIO, **how: bool) -> tuple[Workbook, list[str]]:
    """A workbook without its repeated cells as the library reads it,
    and the parts of the archive that hold its sheets, in their order."""
    reader = ExcelReader(copy, **how)
    reader.read()
    links = [link for _, link in reader.parser.find_sheets() if link.target in reader.valid_files]
    return reader.wb, [link.target for link in links if "chartsheet" not in link.Type]


def join_cells(book: Workbook, parts: list[str], repeated: Repeated) -> list[BookSheet]:
    """The sheets with the cells that were left out of them;
    `parts` are those of the archive that hold them. Raises ContentUnknown."""
    if len(set(parts)) < len(parts) or len(parts) != len(book.worksheets):
        raise ContentUnknown
    sheets = dict(zip(parts, book.worksheets, strict=True))
    first_texts = [
        None if number in repeated.empty else read_first(sheets, first)
        for number, first in enumerate(repeated.firsts)
    ]
    texts = np.array(first_texts, dtype=object)
    return [
        gather_cells(sheet, repeated.places.get(part, {}), texts) for part, sheet in sheets.items()
    ]


def read_first(sheets: dict[str, Worksheet], first: Place) -> str | None:
    """The text of a cell that others repeat; raises ContentUnknown where it may be another
    one than the file says."""
    part, *place = first
    cell = sheets[part]._cells.get(tuple(place)) if part in sheets else None
    if cell is None or isinstance(cell, MergedCell):
        raise ContentUnknown
    # which stand in for nothing
    if cell.hyperlink and cell.value in (cell.hyperlink.target, cell.hyperlink.location):
        raise ContentUnknown
    return to_text(cell.value)


def gather_cells(
    sheet: Worksheet, repeated: dict[int, tuple] | None = None, firsts: np.ndarray | None = None
) -> BookSheet:
    """The cells of a sheet that hold something, with the `repeated` ones by position: rows,
    and which of `firsts` they hold.

    A cell under a merged area shows nothing, and a link stands only in a cell that holds nothing
    else.
    """
    by_position: dict[int, dict[int, str]] = defaultdict(dict)
    covered: dict[int, list[int]] = defaultdict(list)
    for (row, position), cell in sheet._cells.items():
        if isinstance(cell, MergedCell):
            covered[position].append(row)
        elif (text := to_text(cell.value)) is not None:
            by_position[position][row] = text
    columns = {}
    for position in sorted({*by_position, *(repeated or ())}):
        rows = np.array(list(by_position[position]), dtype=np.int64)
        texts = np.array(list(by_position[position].values()), dtype=object)
        if firsts is not None and repeated and position in repeated:
            at, what = (np.array(part, dtype=np.int64) for part in repeated[position])
            again = firsts[what]
            shown = np.not_equal(again, None) & ~np.isin(at, covered[position])
            unrepeated = ~np.isin(rows, at[shown])
            rows, texts = (
                np.concatenate([rows[unrepeated], at[shown]]),
                np.concatenate([texts[unrepeated], again[shown]]),
            )
        order = np.argsort(rows, kind="stable")
        if len(rows):
            columns[position] = (rows[order], texts[order])
    return BookSheet(sheet, columns)
