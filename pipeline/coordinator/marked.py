"""The marked copy of a delivery: the site's own workbook with every cell to mend coloured,
the reason in a comment, and a list with links.

Nothing of the site's is changed but for what a reader and writer of workbooks loses anyway: the
saved results of formulas, which the spreadsheet program works out again on opening. Colours are
conditional formats of ours, so that the site's own formats stay below them. A copy that is marked
again loses the old marks first. When the mended copy is handed in, list and comments come back
unread, since they are sealed (pipeline/intake/own_sheets.py).
"""

import re
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import Any

import pandas as pd
from openpyxl.comments import Comment
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Border, Font, PatternFill, Side
from openpyxl.utils import column_index_from_string, get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.coordinator.opened import ALWAYS, open_book
from pipeline.coordinator.problem_list import add_list
from pipeline.coordinator.repeats import Repeats
from pipeline.coordinator.steady import write_steadily
from pipeline.intake.handed import Handed
from pipeline.intake.own_sheets import seal_comment
from pipeline.intake.receive import Received

EDGE = Side("thick", color="A33B00")
MEND = {  # hatched and framed, so that it shows in grey as well
    "fill": PatternFill("lightUp", fgColor="A33B00", bgColor="FFD9B8"),
    "border": Border(EDGE, EDGE, EDGE, EDGE),
    "font": Font(bold=True, color="5A2000"),
}
LETTERS = re.compile(r"column ([A-Z]{1,3})$")
AUTHOR = "pipeline"
COMMENT_WIDTH, COMMENT_HEIGHT = 360, 150  # points
MOST_RANGES = 400  # of one format: a spreadsheet reads long lists of places slowly


def mark_delivery(folder: Path, handed: Handed, received: Received) -> bytes | None:
    """The marked copy of the delivery in `folder`, of which `handed` was read;
    None if none of its files can be opened, or there is nothing to mend."""
    problems = received.tables["problems"]
    to_mend = problems[problems["severity"].isin(("refuse", "set_aside"))]
    if to_mend.empty or not handed.sheets:
        return None
    opened = open_book(folder, handed)
    book, repeats = opened.book, opened.repeats
    places = [
        find_cells(problem, handed, opened.sheets) for problem in to_mend.itertuples(index=False)
    ]
    for title, cells in group_marks(to_mend, places).items():
        mark_cells(book[title], cells, repeats)
    add_list(book, received, to_mend, places)
    book.calculation.fullCalcOnLoad = True
    return write_steadily(book, opened.properties, repeats.complete)


def find_cells(
    problem: Any, handed: Handed, sheets: dict[str, Worksheet]
) -> tuple[str, int, int] | None:
    """Where a problem is marked: title of the sheet, row and position;
    row 0 for a sheet as a whole, None for the delivery as a whole."""
    sheet, shown = handed.sheet(problem.table), sheets.get(problem.table)
    if sheet is None or shown is None:
        return None
    if pd.isna(problem.row):
        return shown.title, 0, 1
    # a row as a whole, as one with cells beyond the header
    column = "" if pd.isna(problem.column) else problem.column
    if problem.table == "submission" and column not in ("field", ""):
        column = "value"
    lettered = LETTERS.search("" if pd.isna(problem.column) else problem.column)
    if lettered:
        return shown.title, int(problem.row), column_index_from_string(lettered[1])
    labelled = [position for position in sheet.header if sheet.label(position) == column]
    if not labelled and int(problem.row) == sheet.header_row:
        return shown.title, 0, 1  # a column that is not there
    return shown.title, int(problem.row), labelled[-1] if labelled else 1


def group_marks(
    problems: pd.DataFrame, places: list[tuple | None]
) -> dict[str, dict[tuple[int, int], list[str]]]:
    """What is to be said in each cell, by title of the sheet and cell."""
    marks: dict[str, dict[tuple[int, int], list[str]]] = {}
    for problem, place in zip(problems.itertuples(index=False), places, strict=True):
        if place and place[1]:
            texts = marks.setdefault(place[0], {}).setdefault(place[1:], [])
            texts.append(f"{problem.message}\n{problem.how_to_fix}")
    return marks


def mark_cells(sheet: Worksheet, cells: dict[tuple[int, int], list[str]], repeats: Repeats) -> None:
    """Colour cells and say why.

    A comment of the site's own stays as it is: the list names the cell all the same.
    """
    for (row, position), texts in cells.items():
        cell = repeats.hold(sheet, row, position)
        # a cell under a merged one shows nothing
        if cell.comment is None and type(cell).__name__ == "Cell":
            text = "\n\n".join(dict.fromkeys(texts))
            cell.comment = Comment(seal_comment(text), AUTHOR, COMMENT_HEIGHT, COMMENT_WIDTH)
    ranges = list(join_ranges(cells))
    for start in range(0, len(ranges), MOST_RANGES):
        area = " ".join(ranges[start : start + MOST_RANGES])
        sheet.conditional_formatting.add(area, FormulaRule(formula=[ALWAYS], **MEND))


def join_ranges(cells: dict[tuple[int, int], list[str]]) -> Iterator[str]:
    """Cells below each other as ranges."""
    by_column = sorted(cells, key=lambda cell: (cell[1], cell[0]))
    for (position, _), run in groupby(
        enumerate(by_column), key=lambda item: (item[1][1], item[1][0] - item[0])
    ):
        rows = [row for _, (row, _) in run]
        letter = get_column_letter(position)
        yield f"{letter}{rows[0]}" if len(rows) == 1 else f"{letter}{rows[0]}:{letter}{rows[-1]}"
