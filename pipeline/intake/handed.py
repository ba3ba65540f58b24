"""A delivery as it was handed in: every text in it, each with its place, before anything is believed."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

import pandas as pd

from pipeline.intake.patterns import DATE_CELL, DICTIONARY_WORDS, find_identifier
from pipeline.intake.problem import DESCRIBED, Problem
from pipeline.intake.quote import may_name_place

UNSEEN = dict.fromkeys(map(ord, "\u200b\u200c\u200d\u2060\ufeff"))  # characters of no width
NAMES = [*DESCRIBED, *(name for columns in DESCRIBED.values() for name in columns)]
MINUS = {ord("\u2212"): "-"}


@dataclass(frozen=True)
class Sheet:
    """One table as handed in, its cells as texts.

    `table` is its name, or its place where the name must not be repeated. `header` holds the texts of row 1 by position (1 is
    column A). `cells` has the columns of `header` and, as its index, the row numbers that the spreadsheet shows; an empty cell is
    missing and a row without any cell is left out. `beyond` are the cells under no header: row, position, text.
    """

    table: str
    header: dict[int, str]
    cells: pd.DataFrame
    beyond: pd.DataFrame
    sha256: str

    def label(self, position: int) -> str:
        """How a column may be called aloud: by its header, or by its letters where the header could identify someone."""
        return name_safely(self.header.get(position), f"column {letters(position)}")


@dataclass(frozen=True)
class Loose:
    """A text outside of the cells, and where it is.

    `judged` says how: as a name or title, in which many words are free text; as a remark, which is always free text; or by its
    patterns only, where programs write words of their own.
    """

    text: str
    table: str
    column: str
    judged: Literal["name", "remark", "patterns"]
    row: int | None = None


@dataclass(frozen=True)
class Handed:
    """All that could be read of a delivery, in which form it came, its fingerprint, and what went wrong on reading."""

    form: str
    fingerprint: str
    sheets: tuple[Sheet, ...]
    loose: tuple[Loose, ...]
    problems: tuple[Problem, ...]

    def sheet(self, table: str) -> Sheet | None:
        """The sheet of a table, if it was handed in."""
        return next((sheet for sheet in self.sheets if sheet.table == table), None)


def make_sheet(
    name: str, place: str, columns: dict[int, pd.Series], beyond: dict[tuple[int, int], str], sha256: str
) -> Sheet:
    """A sheet from texts: `columns` by position with row numbers as index, row 1 the header; `beyond` by row and position."""
    tidied = {position: tidy_column(texts) for position, texts in columns.items()}
    header = {position: texts[1] for position, texts in tidied.items() if texts.get(1)}
    further = {
        (row, position): text for position in tidied.keys() - header for row, text in tidied[position].dropna().items()
    }
    further |= {cell: tidy(text) for cell, text in beyond.items() if tidy(text)}
    outside = pd.DataFrame([(*cell, further[cell]) for cell in sorted(further)], columns=["row", "position", "text"])
    cells = pd.DataFrame({position: tidied[position] for position in sorted(header)}, dtype=object)
    filled = cells.index[cells.notna().any(axis=1)]
    rows = sorted((set(filled) | set(outside["row"])) - {1})
    return Sheet(name_safely(tidy(name), place), header, cells.reindex(rows), outside, sha256)


def to_text(value: object) -> str | None:
    """A cell's value in the one form in which both kinds of file are compared: whole numbers without a fraction."""
    if value is None:
        return None
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    if isinstance(value, date):
        return DATE_CELL
    return str(value)


def tidy_column(texts: pd.Series) -> pd.Series:
    """The texts of a column without surrounding blanks; empty ones are missing."""
    given = texts.tolist()
    tidied = {text: tidy(text) for text in set(given)}
    return pd.Series([tidied[text] for text in given], index=texts.index, dtype=object)


def tidy(text: str | None) -> str | None:
    """A text without surrounding blanks (also those that do not break) and characters of no width; None if nothing is left."""
    return (text or "").translate(UNSEEN | MINUS).strip() or None


def name_safely(text: str | None, place: str) -> str:
    """A name in small letters if it is made of usual words or nearly one of the dictionary's, otherwise its place: it could be a surname."""
    safe = text and not find_identifier(text, DICTIONARY_WORDS) and may_name_place(text, NAMES)
    return text.lower() if safe else place


def letters(position: int) -> str:
    """The letters of a spreadsheet column: 1 is A, 27 is AA."""
    above, last = divmod(position - 1, 26)
    return (letters(above) if above else "") + chr(ord("A") + last)
