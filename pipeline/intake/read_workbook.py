"""Workbooks: the cells of every sheet with their places, and all texts that a workbook holds
outside of them."""

import hashlib
import re
import warnings
import zipfile
from collections.abc import Iterable, Iterator
from io import BytesIO
from itertools import product
from pathlib import Path

import numpy as np
from openpyxl import Workbook, load_workbook
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.intake.archive import find_stray_bytes
from pipeline.intake.beside_cells import list_beside_cells
from pipeline.intake.book_cells import BookSheet, read_book
from pipeline.intake.handed import (
    LAST_HEADER_ROW,
    SPELLED_OTHERWISE,
    Loose,
    Sheet,
    Tidied,
    letters,
    make_grid,
    make_sheet,
    tidy,
    to_text,
)
from pipeline.intake.own_sheets import SEAL, is_sealed, is_sealed_comment, plain
from pipeline.intake.parts import (
    SHEET,
    find_unsearchable,
    list_entries,
    list_part_texts,
    strip_page_codes,
)
from pipeline.intake.patterns import DATE_CELL
from pipeline.intake.problem import Problem
from schemas.codes import TABLE
from schemas.site_map import SiteMap

SET_BY_PROGRAMS = re.compile(
    r"MSIP_Label|ContentTypeId|MediaService|_dlc_"
)  # own properties with long codes (common practice)
FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")


def read_workbook(path: Path, site_map: SiteMap) -> tuple[list[Sheet], list[Loose], list[Problem]]:
    """The tables of a workbook, all texts that it holds outside of cells,
    and what cannot be searched.

    Raises whatever the reader raises where the workbook is broken; its message could quote it.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its warnings quote cells
        archive = zipfile.ZipFile(path)
        read = read_book(path, archive)
        formulas = load_workbook(read.with_formulas) if has_formulas(read.with_formulas) else None
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    ours, sources = split_own_sheets(read.sheets)
    loose, problems, sheets = [*list_book_texts(read.book)], [], []
    for number, cells in sources.items():
        source, sheet = cells.source, read_sheet(cells, f"sheet {number}", sha256, site_map)
        sheets.append(sheet)
        problems += [
            Problem("read_with_help", sheet.table, also=sentence)
            for sentence in list_help(sheet, source)
        ]
        loose += [
            text for text in list_sheet_texts(source, sheet.table) if plain(text.text) not in ours
        ]
        if formulas:
            written = read_formulas(formulas[source.title], source, sheet)
            loose += [text for text, _ in written]
            problems += [problem for _, problem in written if problem]
    known = ours | list_shown(read.sheets)
    loose += [*list_part_texts(archive, known), *list_beside_cells(read.with_formulas, known)]
    unsearchable = find_stray_bytes(path, archive) or find_unsearchable(
        archive, len(read.sheets), read.in_order
    )
    if unsearchable is not None:
        problems.append(Problem("embedded_object", "workbook", also=unsearchable))
    return sheets, loose, problems


def list_shown(sheets: Iterable[BookSheet]) -> set[str]:
    """The plain texts of all cells and comments: they are judged where they stand."""
    shown = set()
    for sheet in sheets:
        shown |= {plain(text) for text in sheet.list_texts() if text}
        shown |= {plain(cell.comment.text) for cell in sheet.source._cells.values() if cell.comment}
    return shown


def split_own_sheets(sheets: Iterable[BookSheet]) -> tuple[set[str], dict[int, BookSheet]]:
    """The texts of the sheets that the project wrote and nobody changed,
    and all other sheets by number."""
    own_texts, others = set(), {}
    for number, sheet in enumerate(sheets, 1):
        texts = sheet.list_texts()
        if any(text.startswith(SEAL) for text in texts) and is_sealed(sheet.list_places()):
            own_texts |= {plain(text) for text in texts if text}
        else:
            others[number] = sheet
    return own_texts, others


def read_sheet(cells: BookSheet, place: str, sha256: str, site_map: SiteMap) -> Sheet:
    """One sheet. Only cells that exist are visited: a single format far below would otherwise make
    a million empty rows."""
    top = cells.list_places(LAST_HEADER_ROW)
    spread = {
        (row, area.min_col): text
        for area in cells.source.merged_cells.ranges
        if area.max_row <= LAST_HEADER_ROW and (text := top.get((area.min_row, area.min_col)))
        for row in range(area.min_row + 1, area.max_row + 1)
    }
    is_row = np.zeros(
        1 + max((at.max() for at, _ in cells.columns.values()), default=0), dtype=bool
    )
    for at, _ in cells.columns.values():
        is_row[at] = True
    rows = np.flatnonzero(is_row)
    tidied, columns = Tidied(), {}
    for position, (at, texts) in cells.columns.items():
        columns[position] = column = np.full(len(rows), None, dtype=object)
        column[np.searchsorted(rows, at)] = list(map(tidied.__getitem__, texts))
    return make_sheet(
        cells.source.title, place, make_grid(columns, rows.tolist()), {}, spread, sha256, site_map
    )


def list_help(sheet: Sheet, source: Worksheet) -> Iterator[str]:
    """What was met in a sheet that the dictionary does not describe,
    and what a coordinator may not see, yet is read."""
    if sheet.table in TABLE and (tidy(source.title) or "").lower() != sheet.table:
        yield SPELLED_OTHERWISE
    if source.sheet_state != "visible":
        yield "The sheet is hidden; it is read like all others."
    if any(dimension.hidden for dimension in source.row_dimensions.values()):
        yield "Hidden rows, as by a filter, are read like all others."
    if any(dimension.hidden for dimension in source.column_dimensions.values()):
        yield "Hidden columns are read like all others."


def has_formulas(file: Path | BytesIO) -> bool:
    """Whether any sheet holds a formula: only then is the workbook read a second time."""
    with zipfile.ZipFile(file) as parts:
        return any(
            FORMULA.search(parts.read(name)) for name in parts.namelist() if SHEET.match(name)
        )


def read_formulas(
    formulas: Worksheet, results: Worksheet, sheet: Sheet
) -> list[tuple[Loose, Problem | None]]:
    """The texts and numbers written into formulas, and a problem where a formula has no saved
    result."""
    written = []
    for (row, position), cell in formulas._cells.items():
        if cell.data_type != "f":
            continue
        text = getattr(cell.value, "text", cell.value) or ""
        column = sheet.label(position)
        lost = results.cell(row, position).value is None
        problem = Problem("formula_without_result", sheet.table, row, column) if lost else None
        written.append((Loose(pick_constants(text), sheet.table, column, "text", row), problem))
    return written


def pick_constants(formula: str) -> str:
    """What a person wrote into a formula: its texts, its numbers of five digits or more,
    and the dates that it builds."""
    texts = re.findall(r'"([^"]*)"', formula)
    bare = re.sub(r'"[^"]*"', " ", formula)
    numbers = re.findall(r"(?<![\w$.:!])\d{5,}", bare)
    return " ".join(
        [
            *texts,
            *numbers,
            *([DATE_CELL] if re.search(r"\bDATE(?:VALUE)?\(", bare, re.IGNORECASE) else []),
        ]
    )


def list_book_texts(book: Workbook) -> Iterator[Loose]:
    """The properties that somebody gave to a workbook, and its defined names."""
    for number, given in enumerate(book.custom_doc_props.props, 1):
        if not SET_BY_PROGRAMS.match(given.name):
            yield Loose(
                f"{given.name} {to_text(given.value)}", "workbook", f"own property {number}", "text"
            )
    for number, (name, defined) in enumerate(book.defined_names.items(), 1):
        yield Loose(
            f"{name} {pick_constants(defined.value or '')}",
            "workbook",
            f"defined name {number}",
            "text",
        )


def list_sheet_texts(sheet: Worksheet, table: str) -> Iterator[Loose]:
    """The texts of a sheet outside of its cells' values: its name, comments, links, names,
    headers and footers, hints on entry."""
    yield Loose(sheet.title, table, "sheet name", "text")
    for (row, position), cell in sheet._cells.items():
        if cell.comment and not is_sealed_comment(cell.comment.text):
            yield Loose(
                cell.comment.text, table, f"comment in column {letters(position)}", "remark", row
            )
        if cell.hyperlink and cell.hyperlink.target:
            yield Loose(
                cell.hyperlink.target, table, f"link in column {letters(position)}", "text", row
            )
    for number, (name, defined) in enumerate(sheet.defined_names.items(), 1):
        yield Loose(
            f"{name} {pick_constants(defined.value or '')}", table, f"defined name {number}", "text"
        )
    for pages, margin, part in product(
        ("odd", "even", "first"), ("Header", "Footer"), ("left", "center", "right")
    ):
        if text := getattr(getattr(sheet, pages + margin), part).text:
            yield Loose(strip_page_codes(text), table, "page header or footer", "text")
    for hint in sheet.data_validations.dataValidation:
        for text in filter(None, (hint.promptTitle, hint.prompt, hint.errorTitle, hint.error)):
            yield Loose(text, table, "hint on entry", "text")
        for text in list_entries(f"{hint.formula1} {hint.formula2}"):
            yield Loose(text, table, "list of entries", "text")
