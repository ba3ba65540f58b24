"""One sheet of a workbook, written cell by cell (ECMA-376, Office Open XML)."""

import re
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

from tests.corpus.base import Row, Value

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
SHEET_ORDER = [
    "sheetPr",
    "dimension",
    "sheetViews",
    "sheetFormatPr",
    "cols",
    "sheetData",
    "sheetCalcPr",
    "sheetProtection",
    "protectedRanges",
    "scenarios",
    "autoFilter",
    "sortState",
    "dataConsolidate",
    "customSheetViews",
    "mergeCells",
    "phoneticPr",
    "conditionalFormatting",
    "dataValidations",
    "hyperlinks",
    "printOptions",
    "pageMargins",
    "pageSetup",
    "headerFooter",
    "rowBreaks",
    "colBreaks",
    "customProperties",
    "cellWatches",
    "ignoredErrors",
    "smartTags",
    "drawing",
    "legacyDrawing",
    "legacyDrawingHF",
    "picture",
    "oleObjects",
    "controls",
    "webPublishItems",
    "tableParts",
    "extLst",
]


@dataclass(frozen=True)
class Raw:
    """A cell written as given; `{ref}` stands for its place."""

    xml: str


@dataclass(frozen=True)
class Styled:
    """A number with one of the book's cell formats: 1 is a date, 2 bold,
    from 3 on the book's own number formats."""

    value: float
    style: int


@dataclass
class Sheet:
    """One sheet: its rows, its state, hidden rows, and elements by their name in the standard."""

    name: str
    rows: list[Row]
    state: str = "visible"
    hidden_rows: set[int] = field(default_factory=set)
    elements: dict[str, str] = field(default_factory=dict)
    relations: list[tuple[str, str, str]] = field(default_factory=list)
    far: dict[str, Value] = field(default_factory=dict)


def letters(number: int) -> str:
    """The letters of a column, 1 being A."""
    text = ""
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(65 + rest) + text
    return text


def write_sheet(sheet: Sheet, strings: list[str] | None) -> str:
    known: dict[str, int] = {}
    rows = []
    for number, row in enumerate(sheet.rows, start=1):
        cells = "".join(
            _write_cell(f"{letters(at)}{number}", value, strings, known)
            for at, value in enumerate(row, start=1)
        )
        hidden = ' hidden="1"' if number in sheet.hidden_rows else ""
        rows.append(f'<row r="{number}"{hidden}>{cells}</row>')
    for place, value in sheet.far.items():
        number = "".join(filter(str.isdigit, place))
        rows.append(f'<row r="{number}">{_write_cell(place, value, strings, known)}</row>')
    elements = {"sheetData": f"<sheetData>{''.join(rows)}</sheetData>", **sheet.elements}
    body = "".join(elements.get(name, "") for name in SHEET_ORDER)
    return f'{HEAD}<worksheet xmlns="{MAIN}" xmlns:r="{OFFICE}">{body}</worksheet>'


def _write_cell(ref: str, value: Value, strings: list[str] | None, known: dict[str, int]) -> str:
    if value is None:
        return ""
    if isinstance(value, Raw):
        return value.xml.replace("{ref}", ref)
    if isinstance(value, Styled):
        return f'<c r="{ref}" s="{value.style}"><v>{value.value}</v></c>'
    if isinstance(value, bool):
        return f'<c r="{ref}" t="b"><v>{int(value)}</v></c>'
    if isinstance(value, int | float):
        return f'<c r="{ref}"><v>{value}</v></c>'
    coded = re.sub(
        r"[\x00-\x08\x0b\x0c\x0e-\x1f]", lambda sign: f"_x{ord(sign[0]):04X}_", escape(str(value))
    )
    text = f'<t xml:space="preserve">{coded}</t>'
    if strings is None:
        return f'<c r="{ref}" t="inlineStr"><is>{text}</is></c>'
    if text not in known:
        known[text] = len(strings)
        strings.append(f"<si>{text}</si>")
    return f'<c r="{ref}" t="s"><v>{known[text]}</v></c>'
