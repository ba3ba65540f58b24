"""The template workbook: a sheet a table with drop-down lists, hints and cell formats that keep codes and numbers what they are.

Ids and codes are texts, so that no spreadsheet makes dates of them. The sheets `dictionary`, `example` and `lists` are sealed
(pipeline/intake/own_sheets.py): as long as nobody types into them they come back unread.
"""

import io
import zipfile

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.desk.dictionary import list_entries, say_form
from pipeline.intake.own_sheets import make_seal
from pipeline.intake.problem import DESCRIBED
from schemas.columns import Description, Integer, Number
from schemas.delivery import DICTIONARY_VERSION

LAST_ROW = 5000  # rows with lists and hints
LONGEST_LIST = 255  # letters that a spreadsheet takes as a list within a rule
LONGEST_HINT = 250
FIRST_ZIP_DATE = (1980, 1, 1, 0, 0, 0)
HEAD = PatternFill("solid", fgColor="1F4F78")
NEEDED = Font(bold=True, color="FFFFFF")
OPTIONAL = Font(color="FFFFFF")
WHOLE, DECIMAL, TEXT = "0", "General", "@"


def build_template(maneuvers: list[str]) -> Workbook:
    """The workbook; `maneuvers` are the codes of the plan's list, offered in the column maneuver."""
    book = Workbook()
    book.remove(book.active)
    lists = _Lists()
    for table, columns in DESCRIBED.items():
        sheet = book.create_sheet(table)
        (_fill_submission if table == "submission" else _fill_table)(sheet, columns, lists, maneuvers)
    _seal_rows(book.create_sheet("example"), list_examples())
    _seal_rows(book.create_sheet("dictionary"), list_dictionary())
    _seal_rows(book.create_sheet("lists"), lists.list_rows())
    return book


def write_template(book: Workbook) -> bytes:
    """The workbook as bytes that are the same each time: no date of its making is kept."""
    drawn, fixed = io.BytesIO(), io.BytesIO()
    book.save(drawn)
    with zipfile.ZipFile(drawn) as source, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as target:
        for name in source.namelist():
            content = source.read(name)
            if name == "docProps/core.xml":
                content = b'<cp:coreProperties xmlns:cp="http://schemas.openxmlformats.org/package/2006/metadata/core-properties"/>'
            part = zipfile.ZipInfo(name, FIRST_ZIP_DATE)
            part.compress_type = zipfile.ZIP_DEFLATED
            target.writestr(part, content)
    return fixed.getvalue()


def list_examples() -> list[list[str]]:
    """One filled row of each table, plainly invented, each cell under its column."""
    rows = [["One row of each table, filled in. Nobody in it exists. Do not type here."]]
    for table, columns in DESCRIBED.items():
        rows += [[table], list(columns), [column.example or "(empty)" for column in columns.values()]]
    return rows


def list_dictionary() -> list[list[str]]:
    """Every column with its meaning, form, codes and why it is asked for."""
    rows = [["table", "column", "meaning", "form", "codes", "why it is asked for"]]
    for entry in list_entries():
        codes = "; ".join(f"{code['code']}: {code['meaning']}" for code in entry["allowed"])
        rows.append([entry["table"], entry["column"], entry["meaning"], say_form(entry), codes or "-", entry["why"]])
    return rows


class _Lists:
    """Lists too long for a rule: a column each on a sheet of their own."""

    def __init__(self) -> None:
        self.columns: list[tuple[str, list[str]]] = []

    def refer(self, name: str, codes: list[str]) -> str:
        """What a rule says to offer `codes`."""
        plain = ",".join(codes)
        if len(plain) <= LONGEST_LIST:
            return f'"{plain}"'
        if (name, codes) not in self.columns:
            self.columns.append((name, codes))
        letter = get_column_letter(self.columns.index((name, codes)) + 1)
        return f"lists!${letter}$2:${letter}${len(codes) + 1}"

    def list_rows(self) -> list[list[str]]:
        """The sheet, row by row."""
        longest = max((len(codes) for _, codes in self.columns), default=0)
        rows = [[name for name, _ in self.columns] or ["no long lists"]]
        return rows + [[codes[k] if k < len(codes) else "" for _, codes in self.columns] for k in range(longest)]


def _fill_table(sheet: Worksheet, columns: dict[str, Description], lists: _Lists, maneuvers: list[str]) -> None:
    for position, column in enumerate(columns.values(), start=1):
        letter = get_column_letter(position)
        cell = sheet.cell(1, position, column.name)
        cell.font, cell.fill = NEEDED if column.filled else OPTIONAL, HEAD
        sheet.column_dimensions[letter].width = max(12, len(column.name) + 2)
        sheet.column_dimensions[letter].number_format = _choose_format(column)
        codes = maneuvers if column.name == "maneuver" else list(column.codes or ())
        rule = _make_rule(column, codes, lists)
        rule.add(f"{letter}2:{letter}{LAST_ROW}")
        sheet.add_data_validation(rule)
    sheet.freeze_panes = "B2"


def _fill_submission(sheet: Worksheet, columns: dict[str, Description], lists: _Lists, maneuvers: list[str]) -> None:
    for position, (name, width) in enumerate((("field", 26), ("value", 22)), start=1):
        cell = sheet.cell(1, position, name)
        cell.font, cell.fill = NEEDED, HEAD
        sheet.column_dimensions[get_column_letter(position)].width = width
    for row, column in enumerate(columns.values(), start=2):
        sheet.cell(row, 1, column.name)
        cell = sheet.cell(row, 2, DICTIONARY_VERSION if column.name == "dictionary_version" else None)
        cell.number_format, cell.alignment = _choose_format(column), Alignment(horizontal="left")
        rule = _make_rule(column, list(column.codes or ()), lists)
        rule.add(f"B{row}")
        sheet.add_data_validation(rule)
    sheet.freeze_panes = "A2"


def _choose_format(column: Description) -> str:
    """Texts stay texts; 90+ is a text too."""
    if column.name == "age_years" or column.codes:
        return TEXT
    return {Integer: WHOLE, Number: DECIMAL}.get(type(column.dtype), TEXT)


def _make_rule(column: Description, codes: list[str], lists: _Lists) -> DataValidation:
    """What may be entered, with a hint: meaning, unit, example."""
    kind = {Integer: "whole", Number: "decimal"}.get(type(column.dtype))
    if codes:
        rule = DataValidation(type="list", formula1=lists.refer(column.name, codes), allow_blank=True)
    elif kind and column.name != "age_years" and column.ge is not None and column.le is not None:
        rule = DataValidation(
            type=kind, operator="between", formula1=f"{column.ge:g}", formula2=f"{column.le:g}", allow_blank=True
        )
    else:
        rule = DataValidation(allow_blank=True)
    hint = ". ".join(
        filter(
            None,
            [
                column.meaning,
                f"In {column.unit}" if column.unit else "",
                f"Example: {column.example}" if column.example else "",
            ],
        )
    )
    rule.promptTitle, rule.prompt, rule.showInputMessage = column.name[:31], hint[:LONGEST_HINT], True
    rule.errorTitle, rule.error, rule.showErrorMessage = (
        column.name[:31],
        "This is not what the dictionary allows here.",
        True,
    )
    return rule


def _seal_rows(sheet: Worksheet, rows: list[list[str]]) -> None:
    for row in rows:
        sheet.append([text or None for text in row])
    texts = [text for row in rows for text in row if text]
    sheet.append([make_seal(texts)])
    for position in range(1, max(map(len, rows)) + 1):
        sheet.column_dimensions[get_column_letter(position)].width = 24
    sheet.freeze_panes = "A2"
