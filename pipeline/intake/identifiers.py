"""Judging one text: which kind of identifier it is beyond doubt, given what its column may hold."""

import re

from pipeline.intake.date_words import SAID_ABOVE_89
from pipeline.intake.patterns import (
    DATE_CELL,
    FULL_DATE,
    LONGEST_SEARCHED,
    MANY_DIGITS,
    NUMBER,
    SERIAL_DATES,
    find_form,
    may_be_form,
    normalise,
)

AGES_TO_HIDE = range(90, 121)  # a greater number is no age but a slip
WORDS_ABOVE_89 = re.compile(SAID_ABOVE_89)  # in columns of ages only
WHOLE_MINUTE = 60  # seconds: long holds and durations are told in minutes


def find_identifier(text: str) -> str | None:
    """The kind of identifier that a text of any place holds."""
    if text == DATE_CELL:
        return "calendar_date"
    if len(text) > LONGEST_SEARCHED:
        return "free_text"
    plain = normalise(text)
    return find_in_number(plain) if NUMBER.fullmatch(plain) else find_form(text)


def find_in_number(plain: str) -> str | None:
    """The kind of identifier that a plain number is: it has more digits than any measurement,
    or begins as none does."""
    digits = re.match(r"[+-]?(\d*)", plain)
    integer_part = (digits and digits[1]) or "0"
    if plain[0] == "+" and len(integer_part) > 6:
        return "telephone_number"
    if FULL_DATE.fullmatch(plain):
        return "calendar_date"
    return (
        "long_number"
        if len(integer_part) > 6 or (integer_part[0] == "0" and len(integer_part) > 5)
        else None
    )


def find_in_age(text: str) -> str | None:
    """The same for ages, of which none above 89 may stand there but 90+ (45 CFR
    164.514(b)(2)(i)(C))."""
    if text == "90+":
        return None
    numbers = [
        int(digits)
        for digits in re.findall(r"\d+", normalise(text[:LONGEST_SEARCHED]))
        if len(digits) < 4
    ]
    above = any(number in AGES_TO_HIDE for number in numbers) or WORDS_ABOVE_89.search(
        normalise(text[:LONGEST_SEARCHED])
    )
    return find_identifier(text) or ("age_above_89" if above else None)


def find_in_days(text: str) -> str | None:
    """The same for days from day 0: a spreadsheet's own number of a calendar date is one."""
    plain = normalise(text)
    serial = (
        re.fullmatch(r"\d{5}(?:[.,]\d+)?", plain)
        and SERIAL_DATES[0] <= int(plain[:5]) <= SERIAL_DATES[1]
    )
    return "calendar_date" if serial else find_identifier(text)


def is_unclear_number(text: str) -> bool:
    """Whether a number that a column allows is no measurement of anything here:
    five digits or more, or zeros before it."""
    match = re.fullmatch(r"\+?(\d+)(?:[.,]\d+)?", normalise(text))
    if not match:
        return False
    digits = match[1]
    return (len(digits) >= MANY_DIGITS and int(digits) % WHOLE_MINUTE > 0) or (
        digits[0] == "0" and len(digits) > 3
    )


def may_identify(text: str) -> bool:
    """Whether a text may be an identifier, though other things are written so as well:
    nobody can tell but those who wrote it."""
    return is_unclear_number(text) if NUMBER.fullmatch(normalise(text)) else may_be_form(text)
