"""How the text of one cell becomes a value of its column."""

import re
from collections.abc import Callable, Iterable
from functools import partial

from schemas.columns import SEPARATOR, Description, Integer, Number
from schemas.delivery import OLDEST, PLANS
from schemas.site_map import spell_plainly

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
BETWEEN = re.compile(r" ?; ?|, ")  # entries of one cell; a comma alone may be a decimal one
WORDS_OF_YES_NO = {"y": "yes", "true": "yes", "n": "no", "false": "no"}
NUMBERS_OF_YES_NO = {"1": "yes", "0": "no"}


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
