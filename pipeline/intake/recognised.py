"""What is met in many tables and is no record, or no entry: rows of totals, of units,
of names of columns, notes, and words for nothing."""

import re
from functools import cache

import numpy as np
import pandas as pd

from pipeline.intake.handed import Sheet
from pipeline.intake.patterns import NUMBER, normalise
from pipeline.intake.problem import PSEUDONYMS, Problem
from schemas.delivery import TABLES

SUMMARY_WORDS = """totals? subtotals? sums? average averages? avg means? mean medians? min max
    minimum maximum sd std stdev counts? n range missing valid summe gesamt gesamtzahl mittelwert
    durchschnitt anzahl somme moyenne médiane suma media promedio mediana totale somma totaal
    gemiddelde aantal soma média"""
SUMMARY = re.compile(  # a word of them, also with a number (common practice)
    rf"(?:grand )?(?:{'|'.join(SUMMARY_WORDS.split())})(?: of \w+)?[ :=.()]*[\d.,%]*|[\d.,]+ "
    r"(?:episodes?|patients?|rows?|records?|cases?)"
)
NO_RECORDS = ("summary_row", "units_row", "repeated_header", "note_row")
UNIT_WORDS = """s sec secs second seconds d day days h hour hours min minutes y yr yrs year years
    deg degree degrees ° °/s deg/s deg/sec degrees/s mm cm m % n points score code text yes/no y/n
    id - sek sekunden tage jahre grad jours secondes ans días segundos años giorni secondi anni f/m
    m/f r/l l/r 0-10 0-100"""
UNITS = frozenset(UNIT_WORDS.split())
NOTHING_WORDS = (
    "na n/a n.a. #n/a nan null nil none. -- - --- – . .. ? ?? / n.d. nd k.a. k.a n.k. missing "
    "blank <na> #null! empty"
)
NOTHING = frozenset(NOTHING_WORDS.split()) | {
    "not recorded",
    "not available",
    "no data",
    "keine angabe",
    "sans objet",
}
LONGEST_CODE = 24  # signs of a pseudonym


def find_no_records(sheet: Sheet) -> dict[int, str]:
    """The rows of a table that are no records, each with the rule that says what it is instead."""
    if sheet.table not in TABLES or sheet.cells.empty:
        return {}
    filled = sheet.cells.notna().sum(axis=1)
    rules = dict.fromkeys(_repeat_header(sheet, filled), "repeated_header")
    positions = [position for name in PSEUDONYMS for position in sheet.positions(name)]
    first = pd.Series(None, index=sheet.cells.index, dtype=object)
    for position in positions:
        first = first.where(first.notna(), sheet.cells[position])
    kinds = {text: kind for text in first.dropna().unique() if (kind := _read_first(text))}
    unnamed = set(filled.index[first.isna() & (filled > 0)])
    for row in [*first.index[first.isin(list(kinds))], *sorted(unnamed)]:
        given = sheet.cells.loc[row].dropna().tolist()
        if row not in rules and (
            kind := _judge_row(given, kinds.get(first[row], ""), row == sheet.cells.index[0])
        ):
            rules[row] = kind
    return rules


def find_words_for_nothing(
    table: str, texts: pd.DataFrame, codes: dict[str, tuple[str, ...]]
) -> list[Problem]:
    """The cells that say with a word that nothing was recorded,
    unless it is a code of their column."""
    problems = []
    for column, cells in texts.items():
        words = {
            text
            for text in cells.dropna().unique()
            if normalise(text) in NOTHING and text.lower() not in codes.get(column, ())
        }
        problems += [
            Problem("word_for_nothing", table, row, column)
            for row in (cells.index[cells.isin(words)] if words else ())
        ]
    return problems


def _repeat_header(sheet: Sheet, filled: pd.Series) -> list[int]:
    """The rows in which half of the filled cells, and two or more,
    say what the header of their column says."""
    same = np.zeros(len(filled), dtype=int)
    for position, text in sheet.header.items():
        same += (sheet.cells[position] == text).to_numpy()
    return list(filled.index[(same >= 2) & (same * 2 >= filled)])


@cache  # the same episodes stand in four tables
def _read_first(text: str) -> str:
    """What the text that stands in place of a pseudonym says of its row."""
    plain = normalise(text).strip()
    if SUMMARY.fullmatch(plain):
        return "summary_row"
    if plain in UNITS:
        return "units_row"
    return "note_row" if plain[0] in "#*" or " " in plain or len(plain) > LONGEST_CODE else ""


def _judge_row(given: list[str], first: str, is_first: bool) -> str:
    """What a row is that begins with no pseudonym, from its filled cells;
    nothing if it may be a record."""
    if first == "summary_row":
        return first
    plain = [normalise(text).strip() for text in given]
    if (
        is_first
        and len(plain) > 1
        and sum(text.strip("()[]") in UNITS for text in plain) * 2 > len(plain)
    ):
        return "units_row"
    numbers = sum(bool(NUMBER.fullmatch(text)) for text in plain)
    words = sum(bool(SUMMARY.fullmatch(text)) for text in plain)
    if not first and words + numbers == len(plain) and len(plain) > 1:
        return "summary_row"
    return "note_row" if len(plain) == 1 and first == "note_row" else ""
