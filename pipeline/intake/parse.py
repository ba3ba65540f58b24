"""Reading cells strictly: text becomes the type of its column, or a problem.

Nothing is guessed, nothing is judged.
"""

import json
from typing import Any

import pandas as pd

from pipeline.intake.cell_values import BETWEEN, choose_reader
from pipeline.intake.handed import Sheet, hold_once, spell_columns
from pipeline.intake.identifiers import may_identify
from pipeline.intake.meant import find_header
from pipeline.intake.problem import DESCRIBED, Problem
from schemas.columns import DICTIONARY_VERSION, SEPARATOR, Description, Integer, Number
from schemas.delivery import FORMER, PLANS
from schemas.site_map import spell_plainly
from schemas.synonyms import make_header_vocabulary

UNREAD = {Integer: "not_a_whole_number", Number: "not_a_number"}


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
