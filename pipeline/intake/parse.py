"""Reading cells strictly: text becomes the type of its column, or a problem. Nothing is guessed, nothing is judged."""

import difflib
import re
from collections.abc import Callable
from functools import cache

import pandas as pd

from pipeline.intake.handed import Sheet
from pipeline.intake.problem import Problem
from schemas.columns import Description, Integer, Number
from schemas.delivery import OLDEST

WHOLE = re.compile(r"([+-]?[0-9]{1,9})(?:\.0+|,00?)?")
DECIMAL = re.compile(r"[+-]?[0-9]{1,9}(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]{1,2})?")
THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")  # 1,234 is a thousand to some and a little over one to others
CAPITALS = {"episode_id": str.upper, "patient_id": str.upper, "site_code": str.upper, "maneuver": str.lower}
NEAR_ENOUGH = 0.6  # likeness from which a code is suggested, as difflib counts it


def match_columns(sheet: Sheet, described: dict[str, Description]) -> tuple[pd.DataFrame, list[Problem]]:
    """The cells of the dictionary's columns, in its order and by row, and what is wrong with the header."""
    positions: dict[str, list[int]] = {}
    for position, text in sheet.header.items():
        positions.setdefault(text.lower(), []).append(position)
    missing = {name: column for name, column in described.items() if name not in positions}
    problems = [Problem("column_twice", sheet.table, 1, n) for n in described if len(positions.get(n, ())) > 1]
    problems += [
        Problem("column_missing" if column.filled else "column_absent", sheet.table, 1, name)
        for name, column in missing.items()
    ]
    unknown = [position for name, found in positions.items() if name not in described for position in found]
    problems += [
        Problem("column_unknown", sheet.table, 1, sheet.label(p), closest=find_closest(sheet.header[p], tuple(missing)))
        for p in unknown
    ]
    if any(text != text.lower() for text in sheet.header.values() if text.lower() in described):
        problems.append(Problem("read_with_help", sheet.table, 1, also="Column names are written with capitals."))
    problems += [Problem("too_many_cells", sheet.table, row) for row in sorted(set(sheet.beyond["row"]) - {1})]
    empty = pd.Series(None, index=sheet.cells.index, dtype=object)
    texts = {name: sheet.cells[positions[name][0]] if name in positions else empty for name in described}
    return pd.DataFrame(texts, index=sheet.cells.index, dtype=object), problems


def type_cells(
    table: str, texts: pd.DataFrame, described: dict[str, Description]
) -> tuple[pd.DataFrame, list[Problem]]:
    """The cells as the types of their columns, unreadable ones missing and named, and what was read with help."""
    typed, problems = {}, []
    for name, column in described.items():
        read = choose_reader(column)
        values = {text: read(text) for text in texts[name].dropna().unique()}
        unread = [text for text, value in values.items() if value is None]
        typed[name] = texts[name].map(values).astype(column.dtype)
        kind = "not_a_whole_number" if column.dtype == Integer() else "not_a_number"
        problems += [Problem(kind, table, row, name) for row in texts.index[texts[name].isin(unread)]]
        problems += [Problem("read_with_help", table, None, name, also=said) for said in list_help(column, values)]
    return pd.DataFrame(typed, index=texts.index), problems


def choose_reader(column: Description) -> Callable[[str], object]:
    """How a text of this column becomes a value; the reader gives None for what it cannot read."""
    if column.name == "age_years":
        return lambda text: OLDEST if text == f"{OLDEST}+" else read_whole(text)
    if column.dtype == Integer():
        return read_whole
    if column.dtype == Number():
        return read_decimal
    return CAPITALS.get(column.name, str.lower if column.codes else str)


def read_whole(text: str) -> int | None:
    """A whole number."""
    match = WHOLE.fullmatch(text)
    return int(match[1]) if match else None


def read_decimal(text: str) -> float | None:
    """A number with a decimal point or comma; None where a comma could part thousands."""
    if THOUSANDS.fullmatch(text) or not DECIMAL.fullmatch(text):
        return None
    return float(text.replace(",", "."))


def list_help(column: Description, values: dict[str, object]) -> list[str]:
    """What was met in a column that the dictionary does not describe, yet can be read in one way only."""
    if column.dtype in (Integer(), Number()):
        return ["Decimal commas."] if any("," in text for text, value in values.items() if value is not None) else []
    altered = [value for text, value in values.items() if text != value and (not column.codes or value in column.codes)]
    return ["Codes are compared without regard to capitals."] if altered else []


@cache
def find_closest(text: str, allowed: tuple[str, ...]) -> str:
    """The allowed code that a misspelt one probably means: it begins alike, or is alike enough; nothing if none is."""
    meant = re.sub(r"[\s-]+", "_", text.strip().lower())
    meant = {"true": "yes", "false": "no"}.get(meant, meant)
    alike = [code for code in allowed if code.startswith(meant) or meant.startswith(code)]
    if len(alike) != 1:
        alike = difflib.get_close_matches(meant, allowed, n=1, cutoff=NEAR_ENOUGH)
    return alike[0] if alike else ""
