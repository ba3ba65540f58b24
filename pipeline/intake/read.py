"""Reading a delivery: every text of its files with its place. Nothing is judged here, and no failure quotes what was read."""

import hashlib
import re
import warnings
import zipfile
from collections.abc import Iterator
from itertools import product
from pathlib import Path

import pandas as pd
from openpyxl import Workbook, load_workbook
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.intake.container import MOST_FILES, find_danger
from pipeline.intake.handed import Handed, Loose, Sheet, letters, make_sheet, name_safely, to_text
from pipeline.intake.own_sheets import is_sealed, plain
from pipeline.intake.parts import has_unsearchable, list_entries, list_part_texts, strip_page_codes
from pipeline.intake.patterns import DATE_CELL
from pipeline.intake.problem import Problem
from pipeline.intake.read_csv import read_csv
from pipeline.sources import fingerprint_files
from schemas.codes import TABLE

LEFT_BY_COMPUTERS = re.compile(r"\.|~\$|(?:thumbs\.db|desktop\.ini)$", re.IGNORECASE)
SET_BY_PROGRAMS = re.compile(
    r"MSIP_Label|ContentTypeId|MediaService|_dlc_"
)  # own properties with long codes (common practice)
FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")
TITLES = ("title", "subject", "description", "keywords", "category", "contentStatus", "identifier")
AUTHORS = ("creator", "lastModifiedBy")


def read_delivery(folder: Path) -> Handed:
    """All that the files of a delivery hold. What cannot be read is a problem, not an error.

    The fingerprint is over the names and bytes of all files but those that computers leave behind.
    """
    files = sorted(folder.iterdir())
    places = {path: f"file {number}" for number, path in enumerate(files, 1)}
    skipped = [path for path in files if LEFT_BY_COMPUTERS.match(path.name)]
    handed = [path for path in files if path not in skipped]
    tables = [path for path in handed if path.is_file() and path.suffix.lower() in (".csv", ".xlsx")]
    workbooks = [path for path in tables if path.suffix.lower() == ".xlsx"]
    sheets, loose = [], [Loose(path.stem, places[path], "file name", "name") for path in handed]
    problems = [Problem("read_with_help", places[path], also="A file of the computer was skipped.") for path in skipped]
    problems += [Problem("stray_file", name_file(path, places[path])) for path in handed if path not in tables]
    if not tables or (workbooks and len(tables) > 1) or len(handed) > MOST_FILES:
        problems.append(Problem("no_tables"))
        tables = []
    for path in tables:
        read = (read_one_workbook if workbooks else read_one_csv)(path, places[path])
        for whole, part in zip((sheets, loose, problems), read, strict=True):
            whole.extend(part)
    if tables:
        problems += compare_with_tables(sheets, problems)
    form = "" if not tables else "workbook" if workbooks else "csv"
    fingerprint = fingerprint_files([path for path in handed if path.is_file()], folder)
    return Handed(form, fingerprint, tuple(sheets), tuple(loose), tuple(problems))


def name_file(path: Path, place: str) -> str:
    """How a file that is no table may be called aloud: by its name, or by its place among the files of the folder."""
    usual = re.fullmatch(r"(?:\.[a-z0-9]{1,4})?", path.suffix.lower())
    return path.name.lower() if usual and name_safely(path.stem, place) != place else place


def read_one_csv(path: Path, place: str) -> tuple[list[Sheet], list[Loose], list[Problem]]:
    """The table of one .csv file."""
    name = name_safely(path.stem, place)
    try:
        if danger := find_danger(path):
            return [], [], [Problem("not_opened", name, also=danger)]
        sheet, met = read_csv(path.read_bytes(), path.stem, place)
    except Exception as error:  # whatever a broken file raises, its message could quote the file
        return [], [], [Problem("unreadable", name, also=f"({type(error).__name__})")]
    return [sheet], [], [Problem("read_with_help", sheet.table, also=said) for said in met]


def read_one_workbook(path: Path, place: str) -> tuple[list[Sheet], list[Loose], list[Problem]]:
    """The tables of a workbook, all texts that it holds outside of cells, and what cannot be searched."""
    problems = []
    try:
        if danger := find_danger(path):
            return [], [], [Problem("not_opened", name_file(path, place), also=danger)]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its warnings quote cells
            book = load_workbook(path, data_only=True)
            parts = zipfile.ZipFile(path)
            formulas = load_workbook(path) if has_formulas(parts) else None
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        own, sources = split_own_sheets(book)
        sheets = [read_sheet(sheet, f"sheet {n}", sha256) for n, sheet in sources.items()]
        loose = [*list_book_texts(book)]
        for sheet, source in zip(sheets, sources.values(), strict=True):
            loose += [text for text in list_sheet_texts(source, sheet.table) if plain(text.text) not in own]
            if formulas:
                found = read_formulas(formulas[source.title], source, sheet)
                loose += [text for text, _ in found]
                problems += [problem for _, problem in found if problem]
        loose += list_part_texts(parts, own | list_shown(book))
        if has_unsearchable(parts, len(book.worksheets)):
            problems.append(Problem("embedded_object", "workbook"))
    except Exception as error:  # whatever a broken file raises, its message could quote the file
        return [], [], [Problem("unreadable", name_file(path, place), also=f"({type(error).__name__})")]
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


def read_sheet(sheet: Worksheet, place: str, sha256: str) -> Sheet:
    """One sheet. Only cells that exist are visited: a single format far below would otherwise make a million empty rows."""
    columns: dict[int, dict[int, str]] = {}
    beyond: dict[tuple[int, int], str] = {}
    header = {position for (row, position), cell in sheet._cells.items() if row == 1 and to_text(cell.value)}
    for (row, position), cell in sheet._cells.items():
        text = to_text(cell.value)
        if text is not None and position in header:
            columns.setdefault(position, {})[row] = text
        elif text is not None:
            beyond[row, position] = text
    texts = {position: pd.Series(column, dtype=object) for position, column in columns.items()}
    return make_sheet(sheet.title, place, texts, beyond, sha256)


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
        found.append((Loose(pick_constants(text), sheet.table, column, "name", row), problem))
    return found


def pick_constants(formula: str) -> str:
    """What a person wrote into a formula: its texts, its numbers of five digits or more, and the dates that it builds."""
    texts = re.findall(r'"([^"]*)"', formula)
    bare = re.sub(r'"[^"]*"', " ", formula)
    numbers = re.findall(r"(?<![\w$.:!])\d{5,}", bare)
    return " ".join([*texts, *numbers, *([DATE_CELL] if re.search(r"\bDATE(?:VALUE)?\(", bare, re.IGNORECASE) else [])])


def list_book_texts(book: Workbook) -> Iterator[Loose]:
    """The properties of a workbook and its defined names. When it was made and saved is written by programs and left aside."""
    for names, judged in ((TITLES, "name"), (AUTHORS, "patterns")):
        for name in names:
            if text := getattr(book.properties, name):
                yield Loose(str(text), "workbook", f"property {name}", judged)
    for number, own in enumerate(book.custom_doc_props.props, 1):
        if not SET_BY_PROGRAMS.match(own.name):
            yield Loose(f"{own.name} {to_text(own.value)}", "workbook", f"own property {number}", "name")
    for number, (name, defined) in enumerate(book.defined_names.items(), 1):
        yield Loose(f"{name} {pick_constants(defined.value or '')}", "workbook", f"defined name {number}", "name")


def list_sheet_texts(sheet: Worksheet, table: str) -> Iterator[Loose]:
    """The texts of a sheet outside of its cells' values: its name, comments, links, names, headers and footers, hints on entry."""
    yield Loose(sheet.title, table, "sheet name", "name")
    for (row, position), cell in sheet._cells.items():
        if cell.comment:
            yield Loose(cell.comment.text, table, f"comment in column {letters(position)}", "remark", row)
        if cell.hyperlink and cell.hyperlink.target:
            yield Loose(cell.hyperlink.target, table, f"link in column {letters(position)}", "name", row)
    for number, (name, defined) in enumerate(sheet.defined_names.items(), 1):
        yield Loose(f"{name} {pick_constants(defined.value or '')}", table, f"defined name {number}", "name")
    for pages, margin, part in product(("odd", "even", "first"), ("Header", "Footer"), ("left", "center", "right")):
        if text := getattr(getattr(sheet, pages + margin), part).text:
            yield Loose(strip_page_codes(text), table, "page header or footer", "name")
    for hint in sheet.data_validations.dataValidation:
        for text in filter(None, (hint.promptTitle, hint.prompt, hint.errorTitle, hint.error)):
            yield Loose(text, table, "hint on entry", "patterns")
        for text in list_entries(f"{hint.formula1} {hint.formula2}"):
            yield Loose(text, table, "list of entries", "name")


def compare_with_tables(sheets: list[Sheet], problems: list[Problem]) -> list[Problem]:
    """Which of the five tables are missing or there twice, and which sheets are none of them."""
    names = [sheet.table for sheet in sheets]
    unread = {problem.table for problem in problems if problem.rule in ("unreadable", "not_opened")}
    whole_book_unread = bool(unread) and not sheets
    found = [
        Problem("table_missing", name) for name in TABLE if name not in {*names, *unread} and not whole_book_unread
    ]
    found += [Problem("table_twice", name) for name in TABLE if names.count(name) > 1]
    return found + [Problem("table_unknown", name) for name in sorted(set(names) - set(TABLE))]
