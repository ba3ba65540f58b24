"""A delivery as it was handed in: every text in it, each with its place,
before anything is believed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Literal

import numpy as np
import pandas as pd

from pipeline.intake.patterns import DATE_CELL, may_be_form
from pipeline.intake.problem import DESCRIBED, Problem
from pipeline.intake.quote import may_name_place
from schemas.codes import TABLE
from schemas.columns import DICTIONARY_VERSION
from schemas.delivery import FORMER
from schemas.site_map import SiteMap, spell_plainly

# how far down a header is looked for: titles and groups of columns take a few rows
LAST_HEADER_ROW = 10
SPELLED_OTHERWISE = (
    "The name of the table is spelled otherwise, or is read by the site's own list of names."
)
SUBMISSION_HEADER = ("field", "value")
KNOWN_COLUMNS = DESCRIBED | {"submission": SUBMISSION_HEADER}
UNSEEN = dict.fromkeys(map(ord, "\u200b\u200c\u200d\u2060\ufeff"))  # characters of no width
# of lines and pages within a cell; a workbook cannot hold the first two (XML 1.0, 2.2)
BREAKS = "\v\f\x85\u2028\u2029"
NAMES = [*DESCRIBED, *(name for columns in DESCRIBED.values() for name in columns)]
MINUS = {ord("\u2212"): "-"}
TIDIED = UNSEEN | MINUS | dict.fromkeys(map(ord, BREAKS), " ")


@dataclass(frozen=True)
class Sheet:
    """One table as handed in, its cells as texts.

    Attributes
    ----------
    table
        Its name, or its place where the name must not be repeated.
    header_row
        The row that holds the names of the columns.
    header
        Texts of that row by position (1 is column A).
    names
        By position the column of the dictionary that each stands for, if any.
    codes
        By position the codes that a site's own entries stand for.
    cells
        The columns of `header`, each different text held once (categorical), by the row numbers
        that the spreadsheet shows; an empty cell is missing, a row without any cell is left out.
    outside
        The cells under no header and above it: row, position, text.
    sha256
        Fingerprint of its file.
    version
        That of the dictionary which the delivery follows.
    """

    table: str
    header_row: int
    header: dict[int, str]
    names: dict[int, str]
    codes: dict[int, dict[str, str]]
    cells: pd.DataFrame
    outside: pd.DataFrame
    sha256: str
    version: int = DICTIONARY_VERSION

    def label(self, position: int) -> str:
        """How a column may be called aloud: by its name in the dictionary, by its header,
        or by its letters where that could identify someone."""
        return self.names.get(position) or name_safely(
            self.header.get(position), f"column {letters(position)}"
        )

    def positions(self, column: str) -> list[int]:
        """Where a column of the dictionary stands."""
        return [position for position, name in self.names.items() if name == column]


Judged = Literal["text", "remark", "author", "file"]


@dataclass(frozen=True)
class Loose:
    """A text outside of the cells.

    Attributes
    ----------
    text
        What it says.
    table, column, row
        Where it is.
    judged
        How: a remark is always free text, an author's name is not held against a file, since
        programs write it into every one, and the name of a file may say when it was written.
    """

    text: str
    table: str
    column: str
    judged: Judged
    row: int | None = None


@dataclass(frozen=True)
class Handed:
    """All that could be read of a delivery.

    Attributes
    ----------
    form
        In which form it came.
    fingerprint
        SHA-256 over the names and bytes of its files.
    sheets
        Its tables.
    loose
        Its texts outside of the cells.
    problems
        What went wrong on reading.
    """

    form: str
    fingerprint: str
    sheets: tuple[Sheet, ...]
    loose: tuple[Loose, ...]
    problems: tuple[Problem, ...]

    def sheet(self, table: str) -> Sheet | None:
        """The sheet of a table, if it was handed in."""
        return next((sheet for sheet in self.sheets if sheet.table == table), None)


def make_sheet(
    name: str,
    place: str,
    grid: pd.DataFrame,
    unheaded: dict[tuple[int, int], str],
    spread: dict[tuple[int, int], str],
    sha256: str,
    site_map: SiteMap,
) -> Sheet:
    """Make a sheet from the texts of a table.

    Parameters
    ----------
    name, place
        What it is called, and where it is.
    grid
        Tidied texts, with positions as columns, by row number.
    unheaded
        By row and position further cells that can have no header.
    spread
        By row and position the texts of merged cells in the rows below the one that holds them.
    sha256
        Fingerprint of the file.
    site_map
        The site's own names of things.
    """
    table = name_table(tidy(name), place, site_map)
    top: dict[int, dict[int, str]] = {1: {}}
    for position, texts in grid[grid.index <= LAST_HEADER_ROW].items():
        for row, text in texts.dropna().items():
            top.setdefault(row, {})[position] = text
    for (row, position), given in spread.items():
        if row in top and (text := tidy(given)):
            top[row].setdefault(position, text)
    header_row = find_header_row(top, table, site_map)
    header = dict(sorted(top[header_row].items()))
    above = grid[grid.index < header_row]
    further = {
        (row, position): text
        for position in grid
        for row, text in (above if position in header else grid)[position].dropna().items()
    }
    further |= {cell: text for cell, given in unheaded.items() if (text := tidy(given))}
    outside = pd.DataFrame(
        [(*cell, further[cell]) for cell in sorted(further)], columns=["row", "position", "text"]
    )
    cells = grid.loc[grid.index > header_row, list(header)]
    filled = cells.index[cells.notna().any(axis=1)]
    below = outside["row"][outside["row"] > header_row]
    if len(filled) < len(cells) or len(below):
        cells = cells.reindex(sorted({*filled, *below}))
    names = {
        position: column
        for position, text in header.items()
        if (column := name_column(text, table, site_map))
    }
    codes = {
        position: entries
        for position, column in names.items()
        if (entries := site_map.entries_of(table, column))
    }
    return Sheet(table, header_row, header, names, codes, cells, outside, sha256)


def name_table(text: str | None, place: str, site_map: SiteMap) -> str:
    """The table of the dictionary that a sheet or file is called by, also in the site's own words
    or another spelling; otherwise its name in small letters, or its place where the name must not
    be repeated."""
    plain = spell_plainly(text or "")
    theirs = {spell_plainly(name): table for name, table in site_map.tables.items()}
    known = {spell_plainly(table): table for table in TABLE}
    return theirs.get(plain) or known.get(plain) or name_safely(text, place)


def name_column(text: str, table: str, site_map: SiteMap) -> str | None:
    """The column of the dictionary that a header means, also in the site's own words or another
    spelling. A likeness is no meaning."""
    plain = spell_plainly(text)
    theirs = {
        spell_plainly(header): column for header, column in site_map.columns.get(table, {}).items()
    }
    return theirs.get(plain) or spell_columns(table).get(plain)


@cache
def spell_columns(table: str) -> dict[str, str]:
    """The columns of a table of the dictionary by their plain spelling; by a former name too."""
    names = {column: column for column in KNOWN_COLUMNS.get(table, ())} | FORMER.get(table, {})
    return {spell_plainly(name): column for name, column in names.items()}


def find_header_row(top: dict[int, dict[int, str]], table: str, site_map: SiteMap) -> int:
    """The row that holds the names of the columns: the first with most of them,
    if it has two or more; otherwise the first row."""
    known = {
        row: {name_column(text, table, site_map) for text in texts.values()} - {None}
        for row, texts in top.items()
    }
    best = max(sorted(known), key=lambda row: len(known[row]))
    return best if len(known[best]) > 1 else 1


def to_text(value: object) -> str | None:
    """A cell's value in the one form in which both kinds of file are compared:
    whole numbers without a fraction."""
    if value is None:
        return None
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    if isinstance(value, date):
        return DATE_CELL
    return str(value)


class Tidied(dict):
    """Texts by how they were given, each tidied once: a column repeats few texts many times,
    and keeps each once."""

    def __missing__(self, text: str | None) -> str | None:
        self[text] = tidied = tidy(text)
        return tidied


def make_grid(columns: Mapping[int, Sequence[str | None]], rows: Sequence[int]) -> pd.DataFrame:
    """The tidied texts of `columns` by position, each as long as `rows`, the row numbers."""
    return pd.DataFrame({p: hold_once(columns[p]) for p in sorted(columns)}, index=rows)


def hold_once(texts: Sequence[str | None], places: np.ndarray | None = None) -> pd.Categorical:
    """A column that holds each different text once; of `texts` those at `places`,
    if these are given."""
    codes, different = pd.factorize(np.array(texts, dtype=object))
    return pd.Categorical.from_codes(
        codes if places is None else codes[places], pd.Index(different, dtype=object)
    )


def tidy(text: str | None) -> str | None:
    """A text without surrounding blanks (also those that do not break),
    characters of no width and breaks; None if nothing is left."""
    return (text or "").translate(TIDIED).strip() or None


def name_safely(text: str | None, place: str) -> str:
    """A name in small letters if it is made of usual words or nearly one of the dictionary's,
    otherwise its place: it could be a surname."""
    if text and not may_be_form(text) and may_name_place(text, NAMES):
        return text.lower()
    return place


def letters(position: int) -> str:
    """The letters of a spreadsheet column: 1 is A, 27 is AA."""
    above, last = divmod(position - 1, 26)
    return (letters(above) if above else "") + chr(ord("A") + last)
