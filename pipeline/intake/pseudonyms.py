"""Whether the codes of a column can be pseudonyms, judged by all of them together:
a name or a record number looks like a code, a column of them does not.

A pseudonym says nothing if its letters are the same in all rows (a prefix, also one for each of a
few clinics) or single, and its digits count. Letters that differ from row to row are names or
initials, unless letters and digits are mixed at every place as chance mixes them. Digits that do
not count are record numbers, telephone numbers or dates. What the site has declared (`pseudonyms`
of its list in config/sites) is believed.
"""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from pipeline.intake.identifiers import find_identifier
from pipeline.intake.patterns import DICTIONARY_WORDS, normalise
from pipeline.intake.shapes import (
    DIGITS,
    are_random,
    count_digits,
    count_free_digits,
    hold_birth_years,
    hold_dates,
    looks_like_name,
)

UNCLEAR, DIFFERING, TOO_SHORT = "pseudonym_unclear", "pseudonyms_differ", "pseudonym_too_short"
FORMED = re.compile(r"[a-z0-9-]+")
NO_SIGN, DIGIT, WORD = re.compile(r"[^a-z0-9]"), re.compile(r"\d"), re.compile(r"[^\W\d_]+")
LONE_LETTER = re.compile(r"(?<![a-z])[a-z](?![a-z])")
LEAST_SIGNS = 3  # of a pseudonym, as the dictionary says
MOST_FREE_DIGITS = 5  # digits that do not count: more of them are record numbers
SHARED = (5, 10, 50)  # codes that make their letters a group: 5 or more, and a tenth of all or 50
FEW = 10  # codes from which on a column tells how its codes are made
LONGEST_OF_FEW = 4  # letters of a prefix where fewer codes share it
RECORD_WORDS = frozenset(("mrn", "ssn", "nhs", "nhi", "pesel", "bsn", "cpr", "cnp", "dni", "pid"))
USUAL = DICTIONARY_WORDS | {
    "bppv",
    "clinic",
    "subject",
    "vertigo",
}  # may begin a code of a few ones, though they are long


@dataclass(frozen=True)
class Judgement:
    """What is wrong with the codes of one column.

    Attributes
    ----------
    column_rule
        The rule that the column as a whole breaks, if any.
    broken, codes
        How many codes of how many break it.
    texts
        By code the rule that it breaks by itself.
    """

    column_rule: str
    broken: int
    codes: int
    texts: dict[str, str]


def judge_pseudonyms(texts: Iterable[str], shapes: tuple[str, ...] = ()) -> Judgement:
    """Judge all different texts of a column of pseudonyms.

    Parameters
    ----------
    texts
        Texts of the column.
    shapes
        Those that the site declares: 9 a digit, X a digit or letter, other signs themselves.

    Returns
    -------
    Judgement
        What is wrong with them, if anything.
    """
    plain = {text: normalise(text) for text in set(texts)}
    codes = {code for code in plain.values() if FORMED.fullmatch(code)}
    if shapes:
        declared = [re.compile(_to_pattern(shape)) for shape in shapes]
        column_rule, fitting = (
            "",
            {code for code in codes if any(shape.fullmatch(code) for shape in declared)},
        )
    else:
        column_rule, fitting = _judge_codes(codes)
    known = {NO_SIGN.sub("", code) for code in fitting}
    letters, digits = (
        {_letters(code) for code in fitting},
        max((len(DIGIT.findall(code)) for code in fitting), default=0),
    )
    slips = {
        code
        for code in set(plain.values()) - fitting
        if NO_SIGN.sub("", code) in known
        or (
            not FORMED.fullmatch(code)
            and _letters(code) in letters
            and len(DIGIT.findall(code)) <= digits
        )
    }
    wrong = {
        text: rule
        for text, code in plain.items()
        if (rule := _judge_text(text, code, fitting, slips))
    }
    return Judgement(column_rule, len(codes) - len(fitting), len(codes), wrong)


def _judge_text(text: str, code: str, fitting: set[str], slips: set[str]) -> str:
    """The rule that one text breaks, given the codes that fit their column and those that are only
    written otherwise."""
    if code.isdecimal() and len(code) < LEAST_SIGNS:
        return TOO_SHORT
    if code in fitting:
        return ""
    kind = find_identifier(text)
    # A1B2C3 is a code as well
    return kind if kind and kind != "postcode" else "" if code in slips else UNCLEAR


def _judge_codes(codes: set[str]) -> tuple[str, set[str]]:
    """The rule that all codes together break, if any, and those codes that fit."""
    if are_random(codes):
        consonants = not re.search("[aeiou]", "".join(codes))
        return "", {code for code in codes if consonants or not looks_like_name(code)}
    shared = _share_letters(codes)
    alike = {code for code in codes if _letters(code) in shared}
    if len(alike) * 2 < len(codes):
        return DIFFERING, alike
    if not RECORD_WORDS.isdisjoint(word for letters in shared for word in letters):
        return "long_number", set()
    forms: dict[str, list[str]] = {}
    for code in alike:
        forms.setdefault(DIGITS.sub("9", LONE_LETTER.sub("*", code)), []).append(code)
    dated = {
        code
        for form in forms.values()
        if hold_birth_years(form) or hold_dates(form)
        for code in form
    }
    free: dict[str, int] = {}
    for form in forms.values():
        free |= (
            count_free_digits(form, len(codes))
            if _are_many(len(form), len(codes))
            else dict(zip(form, map(count_digits, form), strict=True))
        )
    counting = {code for code in alike if free[code] <= MOST_FREE_DIGITS}
    for rule, fitting in (("calendar_date", alike - dated), ("long_number", counting)):
        if len(fitting) * 2 < len(alike):
            return rule, fitting
    return "", counting - dated


def _share_letters(codes: set[str]) -> set[tuple]:
    """The letters that are those of many codes: all codes have the same,
    or a group of them is large."""
    counts = Counter(map(_letters, codes))
    longest = LONGEST_OF_FEW if len(codes) < FEW else max(map(len, codes), default=0)
    return {
        letters
        for letters, count in counts.items()
        if _are_many(count, len(codes))
        and all(len(word) <= longest or word in USUAL for word in letters)
    }


def _are_many(count: int, of: int) -> bool:
    """Whether so many codes are a group: most of them, or enough that nobody's name is met as
    often."""
    least, share, enough = SHARED
    return count * 2 > of or count >= max(least, min(of / share, enough))


@cache
def _letters(code: str) -> tuple[str, ...]:
    """The words of letters in a code; single letters stand for each other,
    as A and B of A001 and B001."""
    return tuple(word if len(word) > 1 else "*" for word in WORD.findall(code))


def _to_pattern(shape: str) -> str:
    signs = {"9": "[0-9]", "X": "[a-z0-9]"}
    return "".join(signs.get(sign, re.escape(sign.lower())) for sign in shape)
