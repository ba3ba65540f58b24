"""Workbooks: the cells of every sheet with their places, and all texts that a workbook holds outside of them."""

import hashlib
import re
import warnings
import zipfile
from collections.abc import Iterator
from itertools import product
from pathlib import Path

from openpyxl import Workbook, load_workbook
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.intake.archive import find_stray_bytes
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
from pipeline.intake.own_sheets import is_sealed, is_sealed_comment, plain
from pipeline.intake.parts import find_unsearchable, list_entries, list_part_texts, strip_page_codes
from pipeline.intake.patterns import DATE_CELL
from pipeline.intake.problem import Problem
from schemas.codes import TABLE
from schemas.site_map import SiteMap

SET_BY_PROGRAMS = re.compile(
    r"MSIP_Label|ContentTypeId|MediaService|_dlc_"
)  # own properties with long codes (common practice)
FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")


def read_workbook(path: Path, own: SiteMap) -> tuple[list[Sheet], list[Loose], list[Problem]]:
    """The tables of a workbook, all texts that it holds outside of cells, and what cannot be searched.

    Raises whatever the reader raises where the workbook is broken; its message could quote it.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its warnings quote cells
        book = load_workbook(path, data_only=True)
        parts = zipfile.ZipFile(path)
        formulas = load_workbook(path) if has_formulas(parts) else None
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    ours, sources = split_own_sheets(book)
    sheets = [read_sheet(sheet, f"sheet {n}", sha256, own) for n, sheet in sources.items()]
    loose, problems = [*list_book_texts(book)], []
    for sheet, source in zip(sheets, sources.values(), strict=True):
        problems += [Problem("read_with_help", sheet.table, also=said) for said in list_help(sheet, source)]
        loose += [text for text in list_sheet_texts(source, sheet.table) if plain(text.text) not in ours]
        if formulas:
            found = read_formulas(formulas[source.title], source, sheet)
            loose += [text for text, _ in found]
            problems += [problem for _, problem in found if problem]
    loose += list_part_texts(parts, ours | list_shown(book))
    unsearchable = find_stray_bytes(path, parts) or find_unsearchable(parts, len(book.worksheets))
    if unsearchable is not None:
        problems.append(Problem("embedded_object", "workbook", also=unsearchable))
    return sheets, loose, problems


def list_shown(book: Workbook) -> set[str]:
    """The plain texts of all cells and comments: they are judged where they stand."""
    cells = [cell for sheet in book.worksheets for cell in sheet._cells.values()]
    comments = {plain(cell.comment.text) for cell in cells if cell.comment}
    return comments | {plain(text) for text in {to_text(cell.value) for cell in cells} if text}


def split_own_sheets(book: Workbook) -> tuple[set[str], dict[int, Worksheet]]:
    """The texts of the sheets that the project wrote and nobody changed, and all other sheets by number."""
    own, others = set(), {}
    for number, sheet in enumerate(book.worksheets, 1):
        texts = {place: text for place, cell in sheet._cells.items() if (text := to_text(cell.value))}
        if is_sealed(texts):
            own |= {plain(text) for text in texts.values()}
        else:
            others[number] = sheet
    return own, others


def read_sheet(sheet: Worksheet, place: str, sha256: str, own: SiteMap) -> Sheet:
    """One sheet. Only cells that exist are visited: a single format far below would otherwise make a million empty rows."""
    columns: dict[int, dict[int, str | None]] = {}
    for (row, position), cell in sheet._cells.items():
        text = to_text(cell.value)
        if text is not None:
            columns.setdefault(position, {})[row] = text
    spread = {}
    for area in sheet.merged_cells.ranges:
        if area.max_row <= LAST_HEADER_ROW and area.min_col in columns:
            text = columns[area.min_col].get(area.min_row)
            spread |= {(row, area.min_col): text for row in range(area.min_row + 1, area.max_row + 1) if text}
    rows = sorted(set().union(*columns.values()))
    tidied = Tidied()
    grid = make_grid({p: [tidied[texts.get(row)] for row in rows] for p, texts in columns.items()}, rows)
    return make_sheet(sheet.title, place, grid, {}, spread, sha256, own)


def list_help(sheet: Sheet, source: Worksheet) -> Iterator[str]:
    """What was met in a sheet that the dictionary does not describe, and what a coordinator may not see, yet is read."""
    if sheet.table in TABLE and (tidy(source.title) or "").lower() != sheet.table:
        yield SPELLED_OTHERWISE
    if source.sheet_state != "visible":
        yield "The sheet is hidden; it is read like all others."
    if any(dimension.hidden for dimension in source.row_dimensions.values()):
        yield "Hidden rows, as by a filter, are read like all others."
    if any(dimension.hidden for dimension in source.column_dimensions.values()):
        yield "Hidden columns are read like all others."


def has_formulas(parts: zipfile.ZipFile) -> bool:
    """Whether any sheet holds a formula: only then is the workbook read a second time."""
    sheets = (name for name in parts.namelist() if name.startswith("xl/worksheets/") and name.endswith(".xml"))
    return any(FORMULA.search(parts.read(name)) for name in sheets)


def read_formulas(formulas: Worksheet, results: Worksheet, sheet: Sheet) -> list[tuple[Loose, Problem | None]]:
    """The texts and numbers written into formulas, and a problem where a formula has no saved result."""
    found = []
    for (row, position), cell in formulas._cells.items():
        if cell.data_type != "f":
            continue
        text = getattr(cell.value, "text", cell.value) or ""
        column = sheet.label(position)
        lost = results.cell(row, position).value is None
        problem = Problem("formula_without_result", sheet.table, row, column) if lost else None
        found.append((Loose(pick_constants(text), sheet.table, column, "text", row), problem))
    return found


def pick_constants(formula: str) -> str:
    """What a person wrote into a formula: its texts, its numbers of five digits or more, and the dates that it builds."""
    texts = re.findall(r'"([^"]*)"', formula)
    bare = re.sub(r'"[^"]*"', " ", formula)
    numbers = re.findall(r"(?<![\w$.:!])\d{5,}", bare)
    return " ".join([*texts, *numbers, *([DATE_CELL] if re.search(r"\bDATE(?:VALUE)?\(", bare, re.IGNORECASE) else [])])


def list_book_texts(book: Workbook) -> Iterator[Loose]:
    """The properties that somebody gave to a workbook, and its defined names."""
    for number, own in enumerate(book.custom_doc_props.props, 1):
        if not SET_BY_PROGRAMS.match(own.name):
            yield Loose(f"{own.name} {to_text(own.value)}", "workbook", f"own property {number}", "text")
    for number, (name, defined) in enumerate(book.defined_names.items(), 1):
        yield Loose(f"{name} {pick_constants(defined.value or '')}", "workbook", f"defined name {number}", "text")


def list_sheet_texts(sheet: Worksheet, table: str) -> Iterator[Loose]:
    """The texts of a sheet outside of its cells' values: its name, comments, links, names, headers and footers, hints on entry."""
    yield Loose(sheet.title, table, "sheet name", "text")
    for (row, position), cell in sheet._cells.items():
        if cell.comment and not is_sealed_comment(cell.comment.text):
            yield Loose(cell.comment.text, table, f"comment in column {letters(position)}", "remark", row)
        if cell.hyperlink and cell.hyperlink.target:
            yield Loose(cell.hyperlink.target, table, f"link in column {letters(position)}", "text", row)
    for number, (name, defined) in enumerate(sheet.defined_names.items(), 1):
        yield Loose(f"{name} {pick_constants(defined.value or '')}", table, f"defined name {number}", "text")
    for pages, margin, part in product(("odd", "even", "first"), ("Header", "Footer"), ("left", "center", "right")):
        if text := getattr(getattr(sheet, pages + margin), part).text:
            yield Loose(strip_page_codes(text), table, "page header or footer", "text")
    for hint in sheet.data_validations.dataValidation:
        for text in filter(None, (hint.promptTitle, hint.prompt, hint.errorTitle, hint.error)):
            yield Loose(text, table, "hint on entry", "text")
        for text in list_entries(f"{hint.formula1} {hint.formula2}"):
            yield Loose(text, table, "list of entries", "text")
