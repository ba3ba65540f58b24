"""How the codes of a column are made: whether chance mixed their letters and digits,
whether their digits count, or are days and years of birth."""

import re
from collections import Counter
from collections.abc import Collection

from pipeline.intake.patterns import DAY, FULL_DATE, MONTH

VOWELS = "aeiouy"
MOST_VOWELS = 0.34  # of random letters 6 of 26 are vowels; of names about 4 of 10 (common practice)
MIXED = (0.1, 0.9)  # share of digits at a place at which chance puts letters and digits
ENOUGH = 10  # codes from which on shares tell something
# a site that counts all its patients has one of so many in its delivery, or more
COUNTED_ONE_OF = 50
# years of birth; codes that begin with the year of a visit are later
BORN, BORN_BEFORE = (1900, 2015), 2000
MOSTLY = 0.9
DIFFERENT = 8  # days, months or years that are told apart where dates are
DIGITS, LONG_WORD, TURN = (
    re.compile(r"\d+"),
    re.compile(r"[a-z]{4,}"),
    re.compile(r"(?<=\d)[a-z]|(?<=[a-z])\d"),
)
DATE_OF_DIGITS = re.compile(
    rf"(?:{DAY}{MONTH}|{MONTH}{DAY})(?:19|20)?\d\d|(?:19|20)?\d\d(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])"
)


def are_random(codes: Collection[str]) -> bool:
    """Whether chance mixed letters and digits: codes of one length,
    both kinds of sign at many places, and not more vowels than chance puts."""
    start = _count_common(min(codes), max(codes)) if len(codes) > 1 else 0
    bodies = sorted(code[start:].replace("-", "") for code in codes)
    length, count = Counter(map(len, bodies)).most_common(1)[0] if bodies else (0, 0)
    like = [body for body in bodies if len(body) == length]
    if len(codes) < 2 or length < 4 or count < MOSTLY * len(codes):
        return False
    shares = [sum(body[place].isdecimal() for body in like) / len(like) for place in range(length)]
    is_few = len(like) < ENOUGH
    mixed = sum(0 < share < 1 if is_few else MIXED[0] <= share <= MIXED[1] for share in shares)
    turned = sum(_count_turns(body) > 1 for body in like) / len(like)
    letters = re.sub(r"\d", "", "".join(like))
    vowels = sum(map(letters.count, VOWELS)) / max(len(letters), 1)
    plain = vowels <= MOST_VOWELS or not re.search("[^a-f]", letters)
    return plain and mixed * (4 if is_few else 2) >= length and turned >= 0.5


def looks_like_name(code: str) -> bool:
    """Whether a code is a word that could be a name, with or without digits before or after it."""
    words = LONG_WORD.findall(code)
    return _count_turns(code.replace("-", "")) < 2 and any(
        sum(map(word.count, VOWELS)) > 1 for word in words
    )


def _count_common(first: str, last: str) -> int:
    """How many signs the first and the last of codes in order begin with alike,
    and so all of them."""
    return next(
        (
            place
            for place, (one, other) in enumerate(zip(first, last, strict=False))
            if one != other
        ),
        len(first),
    )


def _count_turns(body: str) -> int:
    """How often letters and digits take turns."""
    return len(TURN.findall(body))


def count_free_digits(codes: Collection[str], all_codes: int) -> dict[str, int]:
    """Count how many digits of each code do not count, of codes of one form.

    Numbers count where few are met again and again, as those of clinics and years, where they
    follow each other, or where the greatest is no more than so many times the number of codes. Two
    numbers that both differ from row to row never count together.

    Parameters
    ----------
    codes
        Different codes of one form.
    all_codes
        Number of different codes of the column, of whatever form.

    Returns
    -------
    dict
        A number for each code.
    """
    columns = list(zip(*(DIGITS.findall(code) for code in codes), strict=True))
    if not columns:
        return dict.fromkeys(codes, 0)
    changing = [
        number
        for number, column in enumerate(columns)
        if len(set(column)) > max(1, len(column) // 4)
    ]
    often = [Counter(column) for column in columns]
    counted = changing[0] if len(changing) == 1 else None
    inner = _find_inner(columns[counted]) if counted is not None else (0, 0, 0)
    free = {}
    for code, numbers in zip(codes, zip(*columns, strict=True), strict=True):
        alone = [
            place
            for place, number in enumerate(numbers)
            if place in changing or (often[place][number] == 1 and len(codes) >= ENOUGH)
        ]
        if counted is not None and _counts(
            numbers[counted], *inner, 0 if len(alone) > 1 else all_codes
        ):
            alone.remove(counted)
        free[code] = sum(len(str(int(numbers[place]))) for place in alone)
    return free


def _find_inner(numbers: tuple[str, ...]) -> tuple[int, int, int]:
    """Between which values nine of ten numbers lie, and how many numbers there are."""
    values = sorted(map(int, numbers))
    return values[len(values) // 20], values[len(values) - len(values) // 20 - 1], len(values)


def _counts(number: str, first: int, last: int, count: int, all_codes: int) -> bool:
    """Whether a number follows others, or is small enough to count `all_codes` and the other
    patients of a site; 0 if it must follow."""
    follows = (
        count > 1
        and last - first < 2 * count
        and first - 2 * count <= int(number) <= last + 2 * count
    )
    return follows or int(number) <= COUNTED_ONE_OF * (all_codes + 2) * bool(all_codes)


def count_digits(code: str) -> int:
    """How many digits a code has, zeros before a number left out."""
    return sum(len(str(int(number))) for number in DIGITS.findall(code))


def hold_birth_years(codes: Collection[str]) -> bool:
    """Whether a number of the codes is a year, most of them too early for a visit."""
    for numbers in zip(*(DIGITS.findall(code) for code in codes), strict=True):
        years = [
            int(number)
            for number in numbers
            if len(number) == 4 and BORN[0] <= int(number) <= BORN[1]
        ]
        early = sum(year < BORN_BEFORE for year in years)
        if len(set(years)) > 3 and len(years) >= MOSTLY * len(numbers) and early * 2 > len(numbers):
            return True
    return False


def hold_dates(codes: Collection[str]) -> bool:
    """Whether most codes hold a date: eight or six digits in a row,
    or three numbers of which at least two differ from row to row."""
    numbers = [DIGITS.findall(code) for code in codes]
    in_a_row = sum(
        any(len(n) > 5 and DATE_OF_DIGITS.fullmatch(n) for n in runs) for runs in numbers
    )
    changing = sum(
        len(set(column)) >= min(DIFFERENT, max(2, len(numbers) // 2))
        for column in zip(*numbers, strict=True)
    )
    parted = sum(bool(FULL_DATE.search(code)) for code in codes) if changing > 1 else 0
    return max(in_a_row, parted) >= MOSTLY * len(codes)
