"""What may be said aloud of a delivery: names of the dictionary, numbers, codes and slips of them. Any other word could be a person's name.

The gate cannot tell a lone surname from a word that is no code, so such a word is neither a hit nor repeated anywhere.
"""

import re
from collections.abc import Iterable
from functools import cache

from pipeline.intake.patterns import DICTIONARY_WORDS, NAME_PART, normalise

NUMBER_SLIP = re.compile(
    r"[+<>~-]?\d{1,6}(?:[.,]\d{1,6})?\+? ?[a-z]{0,3}"
)  # a number, also with a unit or with O for 0
PSEUDONYM_SLIP = re.compile(r"(?=.*\d)[a-z0-9 ._/-]{1,24}")  # as pseudonyms are written, also with a wrong sign in it
SLIPS = ((8, 2), (4, 1))  # from so many letters on, so many slips of the pen leave a word recognisable
USUAL = """name surname telephone phone birth birthdate address email postcode zip mrn ssn age visit date time remark remarks note notes comment comments number nr
    type value values list lists readme info data sheet tabelle table blatt feuil hoja foglio copy final export extra column field lesion update"""
PLACE_WORDS = frozenset(
    USUAL.split()
)  # names of columns, sheets and files are made of, besides those of the dictionary (common practice)


def is_slip(text: str, allowed: Iterable[str]) -> bool:
    """Whether a text is one of the `allowed` codes, the beginning of one, or one with a slip of the pen."""
    meant = re.sub(r"[\s-]+", "_", normalise(text).strip())
    slips = next((most for length, most in SLIPS if len(meant) >= length), 0)
    return any(code.startswith(meant) or count_slips(meant, code, slips) <= slips for code in allowed)


@cache
def count_slips(text: str, code: str, most: int) -> int:
    """How many letters are wrong, missing, too many or swapped with their neighbour; more than `most` counts as `most` + 1.

    The distance of optimal string alignment (Damerau, Communications of the ACM 1964;7:171-176).
    """
    if abs(len(text) - len(code)) > most:
        return most + 1
    before, last = [], list(range(len(code) + 1))
    for i, letter in enumerate(text, 1):
        row = [i]
        for j, other in enumerate(code, 1):
            steps = [last[j] + 1, row[j - 1] + 1, last[j - 1] + (letter != other)]
            if i > 1 and j > 1 and letter == code[j - 2] and text[i - 2] == other:
                steps.append(before[j - 2] + 1)
            row.append(min(steps))
        before, last = last, row
    return min(last[-1], most + 1)


def may_name_place(text: str, names: Iterable[str]) -> bool:
    """Whether the name of a column, sheet or file may be repeated: made of usual words, or a slip of one of the dictionary's `names`."""
    parts = NAME_PART.findall(normalise(text))
    usual = DICTIONARY_WORDS | PLACE_WORDS
    return usual.issuperset(parts) or is_slip(text, [name for name in names if len(name) >= SLIPS[-1][0]])


def may_quote(text: str, codes: Iterable[str], *, pseudonym: bool = False) -> bool:
    """Whether a cell that is wrong may be repeated to its own site."""
    plain = normalise(text)
    return bool(
        NUMBER_SLIP.fullmatch(plain)
        or (PSEUDONYM_SLIP.fullmatch(plain) if pseudonym else is_slip(text, codes))
        or DICTIONARY_WORDS.issuperset(NAME_PART.findall(plain) or [""])
    )
