"""The sheets of the template that say something and ask for nothing: how to fill it in,
the example, the dictionary, the long lists.

They are sealed and come back unread (pipeline/intake/own_sheets.py); a protection without a
password keeps stray keystrokes out.
"""

import textwrap
from collections.abc import Iterable, Sequence

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.coordinator.entry_rules import choose_format
from pipeline.coordinator.example import list_example
from pipeline.intake.handed import to_text
from pipeline.intake.own_sheets import make_seal
from schemas.codes import TABLE
from schemas.columns import DICTIONARY_VERSION
from schemas.dictionary import Entry, say_accepted, say_form, say_need

HOW_TO, EXAMPLE, DICTIONARY, LISTS = "how to", "example", "dictionary", "lists"
DARK, LIGHT = PatternFill("solid", fgColor="1F4F78"), PatternFill("solid", fgColor="DCE6EE")
FACE = {"name": "Calibri", "size": 11}
ON_DARK, ON_LIGHT = Font(**FACE, bold=True, color="FFFFFF"), Font(**FACE, color="1E2A35")
STRONG, FAINT = Font(**FACE, bold=True, color="1F4F78"), Font(**FACE, color="808080")
WRAPPED, LEFT = Alignment(wrap_text=True, vertical="top"), Alignment(horizontal="left")

LINES = (
    f"How to fill in this workbook (data dictionary, version {DICTIONARY_VERSION})",
    "Enter your records in the five sheets submission, episodes, examinations, treatments and "
    "followups. Leave the names of sheets and columns as they are.",
    "A dark header means that every cell of the column must be filled; in the others a cell may "
    "stay empty. In the sheet submission, enter the values beside the fields.",
    "Select a cell to see what it asks for. Where there is a list, choose from it. What you paste "
    "is not checked on pasting: paste values only, so that lists and formats stay.",
    "Times are whole days from day 0, the day of the first maneuver of the episode; earlier days "
    "are negative. If no maneuver was given, day 0 is the day of the first examination.",
    "Leave a cell empty if something was not recorded. Choose unknown if it was asked and not "
    "known.",
    "In the sheet examinations, reason says why the patient was examined on that day: one row of "
    "each day is enough. In the sheet submission, enter the days on which you plan to test again "
    "and to telephone, with semicolons between them, as 7; 14; leave the value empty if there is "
    "no fixed plan.",
    "Where a test showed neither nystagmus nor vertigo, choose negative as its result: vertical, "
    "torsion, horizontal and vertigo may then stay empty. Several adverse events stand in one cell "
    "with semicolons between them, as nausea; neck_pain.",
    "Enter nothing that identifies a person, nowhere in the workbook: no names, dates, record "
    "numbers, addresses, telephone numbers, remarks or comments. Enter 90+ for every age of 90 or "
    "more.",
    f"The sheets {HOW_TO}, {EXAMPLE}, {DICTIONARY} and {LISTS} are not read. Leave them in the "
    "workbook as they are.",
    say_accepted(),
    "Check the workbook before you send it: ./run check FILE.xlsx (on Windows: py run.py check "
    "FILE.xlsx)",
)
POINTS_A_LINE, GAP = 15, 3  # a line of the typeface, and what parts two rows
DICTIONARY_HEADER = (
    "table",
    "column",
    "meaning",
    "what to enter",
    "needed",
    "codes",
    "example",
    "why it is asked for",
)
DICTIONARY_WIDTHS = (14, 31, 44, 34, 15, 62, 16, 48)


def add_how_to(book: Workbook) -> None:
    """Add the sheet that a coordinator sees first."""
    sheet = book.create_sheet(HOW_TO)
    for line in LINES:
        sheet.append([line])
    sheet["A1"].font = STRONG
    _wrap(sheet, (110,))
    close_sheet(sheet)


def add_example(book: Workbook, entries: Sequence[Entry]) -> None:
    """Add the example: the five tables one below the other, as they are filled in."""
    sheet = book.create_sheet(EXAMPLE)
    sheet.append(
        [
            "Nobody in this example exists. Look at it here; enter your own records in the sheets "
            "of the tables."
        ]
    )
    for table, rows in list_example().items():
        columns = [entry for entry in entries if entry.table == table]
        sheet.append([])
        sheet.append([f"{table}: {TABLE[table]}"])
        sheet.cell(sheet.max_row, 1).font = STRONG
        if table == "submission":
            _add_rows(
                sheet, ["field", "value"], [[(e.column, "@"), _cell(e, rows[0])] for e in columns]
            )
        else:
            _add_rows(
                sheet,
                [e.column for e in columns],
                [[_cell(e, row) for e in columns] for row in rows],
            )
    for position in range(1, sheet.max_column + 1):
        sheet.column_dimensions[get_column_letter(position)].width = 24 if position == 1 else 17
    close_sheet(sheet)


def add_dictionary(book: Workbook, entries: Sequence[Entry]) -> None:
    """Add the dictionary, one row a column."""
    sheet = book.create_sheet(DICTIONARY)
    rows = []
    for entry in entries:
        codes = "\n".join(
            code if code == meaning else f"{code}: {meaning}"
            for code, meaning in entry.codes.items()
        )
        texts = [entry.table, entry.column, entry.meaning, say_form(entry), say_need(entry), codes]
        rows.append([(text or None, "@") for text in (*texts, entry.example, entry.why)])
    _add_rows(sheet, list(DICTIONARY_HEADER), rows)
    _wrap(sheet, DICTIONARY_WIDTHS)
    sheet.freeze_panes = "C2"
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = "1:1"
    close_sheet(sheet)


def add_lists(book: Workbook, entries: Sequence[Entry]) -> dict[str, str]:
    """Add the lists that are too long for a rule, code and meaning side by side;
    where each one's codes stand, by column name."""
    sheet, ranges = book.create_sheet(LISTS), {}
    for number, entry in enumerate(entries):
        code, meaning = get_column_letter(2 * number + 1), get_column_letter(2 * number + 2)
        for row, pair in enumerate([(entry.column, "meaning"), *entry.codes.items()], 1):
            for letter, text in zip((code, meaning), pair, strict=True):
                sheet[f"{letter}{row}"] = text
        paint_header(sheet[f"{code}1"], needed=True)
        paint_header(sheet[f"{meaning}1"], needed=False)
        sheet.column_dimensions[code].width, sheet.column_dimensions[meaning].width = 30, 70
        ranges[entry.column] = f"{LISTS}!${code}$2:${code}${len(entry.codes) + 1}"
    close_sheet(sheet)
    return ranges


def paint_header(cell: Cell, *, needed: bool) -> None:
    """Make a header dark where every cell below must be filled,
    and light where cells may stay empty."""
    cell.font, cell.fill = (ON_DARK, DARK) if needed else (ON_LIGHT, LIGHT)
    cell.alignment = WRAPPED


def _cell(entry: Entry, row: dict) -> tuple[object, str]:
    return row.get(entry.column), choose_format(entry)


def _add_rows(
    sheet: Worksheet, header: list[str], rows: Iterable[Sequence[tuple[object, str]]]
) -> None:
    sheet.append(header)
    for cell in sheet[sheet.max_row][: len(header)]:
        paint_header(cell, needed=False)
    for row in rows:
        sheet.append([value for value, _ in row])
        for position, (_, form) in enumerate(row, 1):
            cell = sheet.cell(sheet.max_row, position)
            cell.number_format, cell.alignment = form, LEFT


def _wrap(sheet: Worksheet, widths: Sequence[int]) -> None:
    """Set widths in letters, and heights that show all lines:
    not every program finds them for itself."""
    for position, width in enumerate(widths, 1):
        sheet.column_dimensions[get_column_letter(position)].width = width
    for number, row in enumerate(sheet.iter_rows(max_col=len(widths)), 1):
        lines = [
            count_lines(cell.value or "", width) for cell, width in zip(row, widths, strict=True)
        ]
        sheet.row_dimensions[number].height = POINTS_A_LINE * max(lines) + GAP
        for cell in row:
            cell.alignment = WRAPPED


def count_lines(text: str, width: int) -> int:
    """How many lines a text takes in a cell of `width` letters."""
    return sum(max(1, len(textwrap.wrap(line, width - 1))) for line in text.split("\n"))


def close_sheet(sheet: Worksheet) -> None:
    """Seal a sheet in the row below its last one, and keep stray keystrokes out of it."""
    texts = {place: text for place, cell in sheet._cells.items() if (text := to_text(cell.value))}
    seal = sheet.cell(sheet.max_row + 1, 1, make_seal(texts[place] for place in sorted(texts)))
    seal.font = FAINT
    sheet.protection.sheet = True
    sheet.protection.formatColumns = sheet.protection.formatRows = False  # widths may be changed
