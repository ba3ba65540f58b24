"""What may be said aloud of a delivery: names of the dictionary, short numbers,
and words whose meaning is known. Any other word could be a name.

The gate cannot tell a lone surname from a word that is no code, so such a word is neither a hit nor
repeated anywhere.
"""

import re
from collections.abc import Iterable

from pipeline.intake.meant import find_meaning
from pipeline.intake.patterns import DICTIONARY_WORDS, NAME_PART, normalise
from schemas.columns import Description, Integer, Number
from schemas.site_map import spell_plainly
from schemas.synonyms import Vocabulary

MOST_DIGITS = 4  # of a number that is repeated: record numbers have more
NUMBER_SLIP = re.compile(  # a number, also with a unit or with O for 0
    r"[+<>~-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)\+? ?(?:o|s|sec|secs|ms|min|h|d|days?|wk|weeks?|m|y|yrs?|"
    r"years?|deg|°|°/s|deg/s|cm|%)?"
)
USUAL = """name surname telephone phone birth birthdate address email postcode zip mrn ssn age visit
    date time remark remarks note notes comment comments number nr type value values list lists
    readme info data sheet tabelle table blatt feuil hoja foglio copy final export extra column
    field lesion update"""
# names of columns, sheets and files are made of, besides those of the dictionary (common practice)
PLACE_WORDS = frozenset(USUAL.split())


def may_name_place(text: str, names: Iterable[str]) -> bool:
    """Whether the name of a column, sheet or file may be repeated: made of usual words,
    or a slip of one of the dictionary's `names`."""
    parts = NAME_PART.findall(normalise(text))
    return (DICTIONARY_WORDS | PLACE_WORDS).issuperset(parts) or bool(
        find_meaning(text, Vocabulary(tuple(names), {}))
    )


def may_quote(text: str, column: Description, meant: str = "") -> bool:
    """Whether a cell that is wrong may be repeated to its own site:
    a short number where a number belongs, or a text that is or may mean a code."""
    if isinstance(column.dtype, Integer | Number):
        plain = normalise(text)
        return bool(NUMBER_SLIP.fullmatch(plain)) and len(re.findall(r"\d", plain)) <= MOST_DIGITS
    return bool(meant) or spell_plainly(text) in map(spell_plainly, column.codes or ())
