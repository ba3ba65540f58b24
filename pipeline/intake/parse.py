"""Reading cells strictly: text becomes the type of its column, or a problem.

Nothing is guessed, nothing is judged.
"""

import json
import re
from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

import pandas as pd

from pipeline.intake.handed import Sheet, hold_once, spell_columns
from pipeline.intake.identifiers import may_identify
from pipeline.intake.meant import find_header
from pipeline.intake.problem import DESCRIBED, Problem
from schemas.columns import DICTIONARY_VERSION, SEPARATOR, Description, Integer, Number
from schemas.delivery import FORMER, OLDEST, PLANS
from schemas.site_map import spell_plainly
from schemas.synonyms import make_header_vocabulary

WHOLE = re.compile(r"([+-]?[0-9]{1,9})(?:\.0+|,00?)?")
DECIMAL = re.compile(r"[+-]?(?:[0-9]{1,9}(?:[.,][0-9]+)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,2})?")
# 1,234 is a thousand to some and a little over one to others
THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
CAPITALS = {
    "episode_id": str.upper,
    "patient_id": str.upper,
    "site_code": str.upper,
    "maneuver": str.lower,
}
UNREAD = {Integer: "not_a_whole_number", Number: "not_a_number"}
BETWEEN = re.compile(r" ?; ?|, ")  # entries of one cell; a comma alone may be a decimal one
WORDS_OF_YES_NO = {"y": "yes", "true": "yes", "n": "no", "false": "no"}
NUMBERS_OF_YES_NO = {"1": "yes", "0": "no"}


def match_columns(
    sheet: Sheet, described: dict[str, Description]
) -> tuple[pd.DataFrame, list[Problem]]:
    """Match the columns of a sheet with those of the dictionary.

    Parameters
    ----------
    sheet
        One table as handed in.
    described
        The dictionary's columns of it by name.

    Returns
    -------
    tuple
        Texts of the dictionary's columns, in its order and by row number, and what is wrong with
        the header.
    """
    table, at = sheet.table, sheet.header_row
    positions = {name: places for name in described if (places := sheet.positions(name))}
    of_version = {name: c for name, c in described.items() if sheet.version in c.versions}
    missing = {name: column for name, column in of_version.items() if name not in positions}
    vocabulary = make_header_vocabulary(of_version)
    unknown = {
        p: find_header(text, vocabulary, missing)
        for p, text in sheet.header.items()
        if p not in sheet.names
    }
    problems = [
        Problem("column_twice", table, at, name)
        for name, places in positions.items()
        if len(places) > 1
    ]
    problems += [
        Problem("column_missing" if column.filled else "column_absent", table, at, name)
        for name, column in missing.items()
        if name not in unknown.values()
    ]
    problems += [
        Problem(
            "column_misspelt" if meant and described[meant].filled else "column_unknown",
            table,
            at,
            sheet.label(p),
            f"Is it meant for {meant} ({described[meant].meaning})?"
            if meant
            else " ".join(filter(None, (name_version(sheet, p), ask(sheet.cells[p])))),
            meant,
            offer_header(sheet, p, meant),
        )
        for p, meant in unknown.items()
    ]
    # a column that must be there refuses the delivery; what may be it is judged all the same, so
    # that one check tells everything
    positions |= {name: [p] for p, name in unknown.items() if name and described[name].filled}
    problems += list_header_help(sheet)
    unheaded = sheet.outside["row"]
    problems += [
        Problem("too_many_cells", table, row) for row in sorted(set(unheaded[unheaded > at]))
    ]
    empty = pd.Series(hold_once([None] * len(sheet.cells)), index=sheet.cells.index)
    texts = {
        name: sheet.cells[positions[name][0]] if name in positions else empty for name in described
    }
    for name, (position, *_) in positions.items():
        if position in sheet.codes:
            several = described[name].several
            texts[name] = translate(texts[name], sheet.codes[position], several)
            if not texts[name].astype(object).equals(sheet.cells[position].astype(object)):
                problems.append(
                    Problem(
                        "read_with_help",
                        table,
                        None,
                        name,
                        also="Entries are read by the site's own list of names.",
                    )
                )
    return pd.DataFrame(texts, index=sheet.cells.index), problems


def name_version(sheet: Sheet, position: int) -> str:
    """What is said of a column that another version of the dictionary has."""
    column = spell_columns(sheet.table).get(spell_plainly(sheet.header[position]))
    return say_other_version(sheet.table, column, sheet.version)


def say_other_version(table: str, column: str | None, version: int) -> str:
    """The same of a column or field by its name; nothing if `version` has it, or none does."""
    versions = DESCRIBED[table][column].versions if column in DESCRIBED[table] else (version,)
    if version in versions:
        return ""
    others = " and ".join(map(str, versions))
    return (
        f"It belongs to version {others} of the data dictionary, and dictionary_version says that "
        f"this delivery follows version {version}."
    )


def ask(texts: pd.Series) -> str:
    """What a site is asked of a column that is not stored: how many of its cells may identify
    somebody; nothing if none may."""
    number = int(texts.isin([text for text in texts.dropna().unique() if may_identify(text)]).sum())
    if not number:
        return ""
    return (
        f"In {number:,} of its cells may stand part of a date, a postcode or a record number: "
        "check them."
    )


def offer_header(sheet: Sheet, position: int, meant: str) -> str:
    """The lines for a site's list of names where a header is a known other word for a column."""
    header = sheet.header[position]
    # a slip, or a part of it
    if not meant or spell_plainly(meant).startswith(spell_plainly(header)[:2]):
        return ""
    return (
        f"Or the coordinating team adds to your list (config/sites): columns: {{{sheet.table}: "
        f"{{{json.dumps(header, ensure_ascii=False)}: {meant}}}}}"
    )


def list_header_help(sheet: Sheet) -> list[Problem]:
    """What was met in a header that the dictionary does not describe,
    yet can be read in one way only."""
    met: list[tuple[str | None, str]] = []
    if sheet.header_row > 1:
        met.append(
            (
                None,
                f"Its header is row {sheet.header_row}; the rows above it are no part of the "
                "table.",
            )
        )
    if any(
        text != text.lower()
        for p, text in sheet.header.items()
        if text.lower() == sheet.names.get(p)
    ):
        met.append((None, "Column names are written with capitals."))
    for position, name in sheet.names.items():
        text = sheet.header[position]
        if FORMER.get(sheet.table, {}).get(text.lower()) == name:
            if sheet.version == DICTIONARY_VERSION:
                met.append((name, "The header is the one of version 1."))
        elif spell_plainly(text) != spell_plainly(name):
            met.append((name, "The header is read by the site's own list of names."))
        elif text.lower() != name:
            met.append((name, "The header is spelled otherwise."))
    return [
        Problem("read_with_help", sheet.table, sheet.header_row, column, also=sentence)
        for column, sentence in met
    ]


def translate(texts: pd.Series, entries: dict[str, str], several: bool = False) -> pd.Series:
    """The texts with a site's own entries replaced by the codes that they stand for, each entry of
    a cell that may hold several by itself."""
    codes = {}
    for text in texts.dropna().unique():
        parts = BETWEEN.split(text) if several and text.casefold() not in entries else [text]
        codes[text] = SEPARATOR.join(entries.get(part.casefold(), part) for part in parts)
    return pd.Series(hold_once(texts.astype(object).map(codes)), index=texts.index)


def type_cells(
    table: str, texts: pd.DataFrame, described: dict[str, Description]
) -> tuple[pd.DataFrame, list[Problem]]:
    """Read the cells as the types of their columns.

    Parameters
    ----------
    table
        Name of the table.
    texts
        Its cells as handed in, by row number.
    described
        The dictionary's columns of it by name.

    Returns
    -------
    tuple
        The cells as types, unreadable ones missing, and what could not be read or was read with
        help.
    """
    typed, problems = {}, []
    for name, column in described.items():
        places, distinct = pd.factorize(texts[name])  # each different text is read once
        read = choose_reader(column, distinct)
        values = {text: read(text) for text in distinct}
        unread = [text for text, value in values.items() if value is None]
        typed[name] = pd.array(list(values.values()), dtype=column.dtype).take(
            places, allow_fill=True
        )
        kind = UNREAD.get(type(column.dtype), "wrong_form")
        problems += [
            Problem(kind, table, row, name)
            for row in (texts.index[texts[name].isin(unread)] if unread else ())
        ]
        problems += [
            Problem("read_with_help", table, None, name, also=sentence)
            for sentence in list_help(column, values)
        ]
    return pd.DataFrame(typed, index=texts.index), problems


def choose_reader(column: Description, texts: Iterable[str] = ()) -> Callable[[str], object]:
    """How a text of this column becomes a value, given all `texts` in it;
    the reader gives None for what it cannot read.

    1 and 0 stand for yes and no only where no other number does: 1 and 2 would be a code of its
    own.
    """
    if column.name == "age_years":
        return lambda text: OLDEST if text == f"{OLDEST}+" else read_whole(text)
    if column.dtype == Integer():
        return read_whole
    if column.dtype == Number():
        return read_decimal
    if column.name in PLANS:
        return read_days
    if not column.codes:
        return CAPITALS.get(column.name, str)
    code_by_spelling = {spell_plainly(code): code for code in column.codes}
    if {"yes", "no"} <= set(column.codes):
        numbers = {text for text in texts if text.isdecimal()}
        code_by_spelling |= WORDS_OF_YES_NO | (
            NUMBERS_OF_YES_NO if numbers <= set(NUMBERS_OF_YES_NO) else {}
        )

    def read_code(text: str) -> str:
        return code_by_spelling.get(spell_plainly(text), text.lower())

    return partial(read_several, list(column.codes), read_code) if column.several else read_code


def read_whole(text: str) -> int | None:
    """A whole number."""
    match = WHOLE.fullmatch(text)
    return int(match[1]) if match else None


def read_decimal(text: str) -> float | None:
    """A number with a decimal point or comma, also without the zero before it; None where a comma
    could part thousands, and where nothing follows the point: a digit may be lost there."""
    if THOUSANDS.fullmatch(text) or not DECIMAL.fullmatch(text):
        return None
    return float(text.replace(",", "."))


def read_several(codes: list[str], read: Callable[[str], str], text: str) -> str:
    """Several codes as they are kept: each once, in the order of the list; as handed in, if one is
    no code."""
    read_codes = {read(part) for part in BETWEEN.split(text)}
    if not read_codes <= set(codes):
        return read(text)
    return SEPARATOR.join(sorted(read_codes, key=codes.index))


def read_days(text: str) -> str | None:
    """A list of whole days, each once, as it is kept: in order, with semicolons between them."""
    days = [read_whole(day) for day in BETWEEN.split(text)]
    if None in days or len(set(days)) < len(days):
        return None
    return SEPARATOR.join(map(str, sorted(day for day in days if day is not None)))


def list_help(column: Description, values: dict[str, Any]) -> list[str]:
    """What was met in a column that the dictionary does not describe,
    yet can be read in one way only."""
    if column.dtype in (Integer(), Number()):
        return (
            ["Decimal commas."]
            if any("," in text for text, value in values.items() if value is not None)
            else []
        )
    if column.name in PLANS:
        return []
    altered = {text: value for text, value in values.items() if text != value}
    altered = {
        text: value for text, value in altered.items() if not column.codes or value in column.codes
    }
    met = []
    if any(text.lower() == value.lower() for text, value in altered.items()):
        met.append("Codes are compared without regard to capitals.")
    otherwise = {text: value for text, value in altered.items() if text.lower() != value.lower()}
    spelled = {
        text for text, value in otherwise.items() if spell_plainly(text) == spell_plainly(value)
    }
    if spelled:
        met.append("Codes are compared without regard to blanks, hyphens and underscores.")
    if otherwise.keys() - spelled:
        met.append("Read as yes and no: y and n, true and false, 1 and 0.")
    return met
