"""What a spreadsheet program lets a person enter into a cell,
and what it says when the cell is selected, from the dictionary."""

from openpyxl.worksheet.datavalidation import DataValidation

from schemas.delivery import OLDEST
from schemas.dictionary import Entry, say_form, say_need

# letters that Excel takes (its file format's limits)
LONGEST_LIST, LONGEST_TEXT, LONGEST_TITLE = 255, 255, 32
# a format that is stated keeps 1-2 from becoming a date; "General" would not
TEXT, WHOLE, DECIMAL = "@", "0", "0.0##"


class TooLong(Exception):
    """A text of the schemas is longer than a spreadsheet program takes."""


def choose_format(entry: Entry) -> str:
    """The number format of a column's cells: codes and pseudonyms are texts, numbers plain numbers.

    An age is a text too: LibreOffice makes the number 90 of a typed 90+, which the gate must
    refuse.
    """
    return TEXT if entry.form else {"whole number": WHOLE, "number": DECIMAL}.get(entry.kind, TEXT)


def needs_range(entry: Entry) -> bool:
    """Whether a list is too long to be written into the rule itself."""
    return len(",".join(entry.codes)) > LONGEST_LIST


def make_rule(entry: Entry, cell: str, list_range: str | None = None) -> DataValidation:
    """What may be entered into a column whose first cell is `cell`;
    `list_range` holds the codes where `needs_range` says so.

    Raises TooLong, since a program would call the workbook broken.
    """
    rule = DataValidation(
        **_restrict(entry, cell, list_range), allow_blank=True, showInputMessage=True
    )
    rule.promptTitle, rule.prompt = (
        _fit(entry.column, LONGEST_TITLE),
        _fit(write_hint(entry), LONGEST_TEXT),
    )
    if rule.type and not entry.several:  # a list knows one code a cell
        rule.showErrorMessage, rule.errorStyle = True, "stop"
        rule.errorTitle, rule.error = rule.promptTitle, _fit(write_refusal(entry), LONGEST_TEXT)
    return rule


def write_hint(entry: Entry) -> str:
    """What is shown while a cell is selected: meaning, form and unit, need, example."""
    form = say_form(entry)
    example = f" Example: {entry.example}" if entry.example else ""
    return f"{entry.meaning}. {form[0].upper()}{form[1:]}; {say_need(entry)}.{example}"


def write_refusal(entry: Entry) -> str:
    """What is said when something else was entered."""
    request = (
        "Choose a code of the list" if entry.codes else f"Enter a {say_form(entry)}, without words"
    )
    return f"{request}." if entry.needed else f"{request}, or leave the cell empty."


def _restrict(entry: Entry, cell: str, list_range: str | None) -> dict:
    if entry.codes:
        return {"type": "list", "formula1": list_range or f'"{",".join(entry.codes)}"'}
    if entry.column == "age_years":
        age = f"VALUE({cell})"  # a typed age is a text, a pasted one perhaps a number
        number = f"AND({age}>={entry.least:g},{age}<={entry.most:g},{age}=INT({age}))"
        formula = f'IF({cell}="{OLDEST}+",TRUE,IF(ISNUMBER({age}),{number},FALSE))'
        return {"type": "custom", "formula1": formula}
    kind = {"whole number": "whole", "number": "decimal"}.get(entry.kind)
    if kind is None:
        return {}
    least, most = (
        None if bound is None else f"{bound:.15g}" for bound in (entry.least, entry.most)
    )
    if least is None or most is None:
        operator = "lessThanOrEqual" if least is None else "greaterThanOrEqual"
        return {"type": kind, "operator": operator, "formula1": least or most}
    return {"type": kind, "operator": "between", "formula1": least, "formula2": most}


def _fit(text: str, most: int) -> str:
    if len(text) > most:
        raise TooLong(f"{len(text)} letters, but {most} are taken: {text}")
    return text
