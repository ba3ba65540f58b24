"""Names of columns that say that the column holds identifiers,
in the languages in which clinics keep records.

What must go is what safe harbor (45 CFR 164.514(b)(2)(i)) removes. The regulation names the things;
how columns are called is common practice. Each word of a name is compared as a whole and without
accents; other scripts are searched for parts. The words are those of `header_words`.
"""

import re
import unicodedata
from collections.abc import Iterable

from pipeline.intake import header_words
from pipeline.intake.patterns import MANY_DIGITS, may_be_form
from schemas.delivery import ALL_TABLES
from schemas.site_map import spell_plainly

PLAIN_LETTERS = str.maketrans(
    {"ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "ß": "ss", "ı": "i", "đ": "d", "æ": "ae", "œ": "oe"}
)
GAPS = re.compile(r"[\s_/,:;()\[\]#|№-]+")
# Latin, Greek and Cyrillic letters, which may have marks
MARKED = re.compile("[\u0080-\u052f\u1e00-\u1fff]")


def strip_accents(text: str) -> str:
    """A text with plain letters in the place of those with marks, in scripts that have marks."""
    signs = unicodedata.normalize("NFKC", text).translate(PLAIN_LETTERS)
    return MARKED.sub(lambda sign: unicodedata.normalize("NFD", sign[0])[0], signs)


def _compile(words: str) -> re.Pattern:
    return re.compile("|".join(words.split()))


SURE = _compile(
    " ".join(
        getattr(header_words, kind)
        for kind in ("NAMES", "BIRTHS", "DATES", "NUMBERS", "PLACES", "CONTACTS")
    )
)
DOUBTFUL = _compile(header_words.DOUBTFUL)  # also of columns with yes and no, kinds or counts
PHRASES = re.compile(rf"\b(?:{header_words.PHRASES})\b")
PARTS = re.compile(strip_accents(header_words.PARTS).lower())
COUNTED = re.compile(header_words.COUNTED)
COMPOUND = re.compile(r"([a-z]{3,})(?:names?|namen|namn|navn|naam|nimi)")
WHOLE, ALONE, THINGS, NAMING, OWNERS, COUNTING, AGES = (
    frozenset(f"{words} {strip_accents(words)}".split())
    for words in (
        header_words.WHOLE,
        header_words.ALONE,
        header_words.THINGS,
        header_words.NAMING,
        header_words.OWNERS,
        header_words.COUNTING,
        header_words.AGES,
    )
)
OWN_NAMES = frozenset(spell_plainly(name) for model in ALL_TABLES for name in model.describe())


def names_identifier(header: str, texts: Iterable[str] = ()) -> bool:
    """Whether a column name says that the column holds identifiers;
    where its words may say something else, `texts`, its cells, must look so."""
    if spell_plainly(header) in OWN_NAMES:
        return False
    words = split_header(strip_accents(header))
    if names_otherwise(header) or PHRASES.search(" ".join(words)):
        return True
    if not OWNERS.isdisjoint(words) and not COUNTING.isdisjoint(words):
        return True
    words, counted = drop_counted(words, texts)
    sure = [word for word in words if SURE.fullmatch(word) and not DOUBTFUL.fullmatch(word)]
    if any(not names_thing(word, words) for word in sure):
        return True
    doubtful = (
        bool(sure) or any(map(DOUBTFUL.fullmatch, words)) or (len(words) == 1 and words[0] in ALONE)
    )
    return doubtful and not counted and look_identifying(texts)


def names_otherwise(header: str) -> bool:
    """Whether a column name has a part or a word of those that are not written in Latin letters,
    or tell something by their accents only."""
    signs = unicodedata.normalize("NFKC", header).lower()
    plain = strip_accents(signs)
    parts = {word.strip(".") for text in (signs, plain) for word in GAPS.split(text)}
    return bool(PARTS.search(plain)) or not WHOLE.isdisjoint(parts)


def drop_counted(words: list[str], texts: Iterable[str]) -> tuple[list[str], bool]:
    """The words without those of a number of things, as in French "nombre de séances", and whether
    there were any. "Nombre" alone is a number where nothing but small numbers stands below it."""
    left = COUNTED.sub(" ", " ".join(words)).split()
    if words == ["nombre"]:
        given = [text for text in texts if text]
        left = (
            []
            if given and all(text.isdecimal() and len(text) < MANY_DIGITS for text in given)
            else words
        )
    return left, left != words


def names_thing(word: str, words: list[str]) -> bool:
    """Whether a word of a column name stands for the name of a thing,
    of which the other `words` or its own beginning tell: test name, Testname."""
    if word in NAMING:
        return not THINGS.isdisjoint(words) and OWNERS.isdisjoint(words)
    compound = COMPOUND.fullmatch(word)
    return compound is not None and not {compound[1], compound[1].rstrip("ens")}.isdisjoint(
        THINGS - {"file"}
    )


def names_age(header: str) -> bool:
    """Whether a column name says that the column holds ages."""
    plain = strip_accents(header)
    return not AGES.isdisjoint({*split_header(plain), *GAPS.split(plain.lower())})


def split_header(text: str) -> list[str]:
    """The words of a column name, also where only capitals part them."""
    return re.findall(r"[^\W\d_]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text).lower())


def look_identifying(texts: Iterable[str]) -> bool:
    """Whether the cells of a column look like those of persons: one has the form of an identifier,
    or most words are different."""
    given = [text for text in texts if text]
    words = {
        text.lower() for text in given if len(text) > 1 and any(sign.isalpha() for sign in text)
    }
    return any(map(may_be_form, set(given))) or len(words) > max(4, len(given) / 2)
