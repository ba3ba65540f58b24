"""The first sheet of a marked copy: what must be mended, what refuses the delivery first,
then the most frequent: a line for each kind of problem, its places folded under it."""

from collections.abc import Sequence

import pandas as pd
from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.coordinator.own_pages import (
    FACE,
    GAP,
    LIGHT,
    ON_LIGHT,
    POINTS_A_LINE,
    STRONG,
    WRAPPED,
    close_sheet,
    count_lines,
    paint_header,
)
from pipeline.intake.receive import Received
from pipeline.intake.report import answer, count
from pipeline.intake.terminal import list_groups

LIST = "what to mend"
COLUMNS = {"where": 56, "what is wrong": 62, "how to mend it": 72}  # and their widths, in letters
LINKS = 200  # of one kind of problem: all cells are marked, and nobody follows more links
LINKED = Font(**FACE, underline="single", color="1F4F78")
LINES = (
    "Each cell to mend is framed and hatched in its sheet, with the reason in a comment. This list "
    "leads to them; it needs no mending.",
    "Each line leads to the first place of its kind; the plus sign at the left margin shows all of "
    "them.",
    "Mend them in your own records as well. Then check this workbook again: ./run check FILE.xlsx "
    "(on Windows: py run.py check FILE.xlsx). Marks that are left in it do no harm.",
)

Place = tuple[str, int, int] | None


def add_list(
    book: Workbook, received: Received, problems: pd.DataFrame, places: Sequence[Place]
) -> None:
    """Add the list as the first sheet: `problems` to mend, and the place of each in the workbook
    (sheet, row, position)."""
    sheet = book.create_sheet(name_list(book), 0)
    book.active = 0
    for other in book.worksheets[1:]:
        other.sheet_view.tabSelected = False
    for line in (answer(received), *LINES):
        sheet.append([line])
    sheet["A1"].font = STRONG
    sheet.append([])
    sheet.append(list(COLUMNS))
    for position, width in enumerate(COLUMNS.values(), 1):
        paint_header(sheet.cell(sheet.max_row, position), needed=True)
        sheet.column_dimensions[get_column_letter(position)].width = width
    sheet.freeze_panes = f"A{sheet.max_row + 1}"
    placed = problems.assign(place=list(places))
    for group in list_groups(placed):
        add_group(sheet, group)
    # the sign stands at the line, not under its places
    sheet.sheet_properties.outlinePr.summaryBelow = False
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    close_sheet(sheet)


def name_list(book: Workbook) -> str:
    """A name for the list that no sheet of the site has."""
    names = [LIST, *(f"{LIST} {number}" for number in range(2, len(book.sheetnames) + 3))]
    taken = {title.casefold() for title in book.sheetnames}
    return next(name for name in names if name not in taken)


def add_group(sheet: Worksheet, group: pd.DataFrame) -> None:
    """Add one kind of problem: a line with what it is, how many places it has and a link to the
    first, and all places folded under it."""
    first = group.iloc[0]
    location = (
        ", ".join(part for part in (first["table"], first["column"]) if part)
        or "the delivery as a whole"
    )
    rows = sorted({int(row) for row in group["row"].dropna()})
    linked = [
        (problem.place, problem.how_to_fix)
        for problem in group.itertuples(index=False)
        if problem.place
    ]
    many = f": {count(len(rows), 'row')}" if rows else ""
    begins = f", first at {name_place(linked[0][0])}" if linked and linked[0][0][1] else ""
    line = [f"{location}{many}{begins}", first["message"], first["how_to_fix"]]
    row = append(sheet, line)
    for cell in sheet[row]:
        cell.fill, cell.font, cell.alignment = LIGHT, ON_LIGHT, WRAPPED
    lines = [count_lines(text, width) for text, width in zip(line, COLUMNS.values(), strict=True)]
    sheet.row_dimensions[row].height = POINTS_A_LINE * max(lines) + GAP
    if linked:
        add_link(sheet, row, linked[0][0])
    for place, fix in linked[:LINKS] if len(linked) > 1 else ():
        row = append(sheet, [name_place(place), None, fix if fix != first["how_to_fix"] else None])
        add_link(sheet, row, place)
        sheet.cell(row, 3).alignment = WRAPPED
        fold(sheet, row)
    if len(linked) > LINKS:
        fold(sheet, append(sheet, [f"and {len(linked) - LINKS:,} more, all marked in the sheet"]))


def append(sheet: Worksheet, texts: Sequence[str | None]) -> int:
    """Add a row and tell its number: the library would count all cells for it."""
    sheet.append(texts)
    return sheet._current_row


def fold(sheet: Worksheet, row: int) -> None:
    """Fold a row under the line above it: a sign at the margin unfolds it."""
    folded = sheet.row_dimensions[row]
    folded.outlineLevel, folded.hidden = 1, True


def add_link(sheet: Worksheet, row: int, place: tuple[str, int, int]) -> None:
    """Lead from the first cell of a row to a place."""
    cell = sheet.cell(row, 1)
    target = f"{quote_sheetname(place[0])}!{get_column_letter(place[2])}{place[1] or 1}"
    cell.hyperlink = Hyperlink(ref=cell.coordinate, location=target)
    cell.font = LINKED


def name_place(place: tuple[str, int, int]) -> str:
    """A place in words: a cell of a sheet, or a sheet as a whole."""
    title, row, position = place
    return f"{title}, {get_column_letter(position)}{row}" if row else f"sheet {title}"
