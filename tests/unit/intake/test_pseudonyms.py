"""Pseudonyms are judged by their column: shapes that say nothing pass, names, initials,
dates and record numbers in the form of codes do not.

Names are surnames made up here or the words for `example` in other languages; numbers are drawn.
"""

import string
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake.pseudonyms import judge_pseudonyms

N = 200
RNG = np.random.default_rng(1861)
FIRST, SECOND = (
    ("QUILL", "BEISPIEL", "EXEMPL", "EJEMPL", "VOORB", "MEIER", "OST", "NORD", "LIND", "KLEIN"),
    ("FEATHER", "MANN", "EAU", "SON", "ER"),
)
SURNAMES = [one + other for one, other in product(FIRST, SECOND)]
LETTERS, DIGITS, CONSONANTS = string.ascii_uppercase, string.digits, "BCDFGHJKLMNPQRSTVWXZ"


def draw(signs: str, length: int) -> str:
    return "".join(RNG.choice(list(signs), length))


def day() -> str:
    return f"{RNG.integers(1, 29):02d}{RNG.integers(1, 13):02d}{RNG.integers(30, 91)}"


def surname() -> str:
    return str(RNG.choice(SURNAMES))


PSEUDONYMS = {
    "letters and a block": [f"EP-A{n:03d}" for n in range(N)],
    "blocks of thousands": [f"EP-{'ABC'[n % 3]}{n:03d}" for n in range(N)],
    "year and number": [f"{RNG.integers(2021, 2027)}-{n:04d}" for n in range(1, N)],
    "site, clinic and number": [f"001-{RNG.integers(1, 5):03d}-{n:04d}" for n in range(1, N)],
    "the same, few": [f"001-{n:03d}-{n:04d}" for n in (1, 2, 2, 3)],
    "a letter and number": [f"{'ABC'[n % 3]}-{n:04d}" for n in range(N)],
    "a word and number": [f"BPPV{n:04d}" for n in range(N)],
    "six digits that count": [f"BPPV{n:06d}" for n in range(N)],
    "from a hundred thousand on": [f"P{100_000 + n}" for n in range(N)],
    "numbers alone": [f"{n:04d}" for n in range(N)],
    "one of twenty": [f"R{n:05d}" for n in RNG.integers(1, N * 20, N)],
    "drawn numbers of four digits": [f"P-{n}" for n in RNG.integers(1000, 10_000, N)],
    "drawn consonants and digits": [draw(CONSONANTS + DIGITS, 6) for _ in range(N)],
    "letter, digit, by turns": [
        "PT-" + "".join(draw(CONSONANTS, 1) + draw(DIGITS, 1) for _ in range(5)) for _ in range(N)
    ],
    "patient and spell": [f"S03-{n // 2:04d}-{n % 2 + 1}" for n in range(N)],
    "two clinics": [f"{('NORD', 'SUED')[n % 2]}-{n:03d}" for n in range(N)],
    "three numbers": [f"01-0{n % 4}-{n:02d}" for n in range(1, 100)],
    "few": ["EP-1", "EP-2", "EP-3"],
    "two": ["PT-1", "PT-2"],
    "one": ["EP-1"],
    "other signs": [*(f"EP-{n:04d}" for n in range(N)), "EP_0003", "EP 0004", "ep-0007", "EP0009"],
}
IDENTIFYING = {
    "names": (SURNAMES, "pseudonyms_differ"),
    "full names": ([f"{surname()}-ANNA-{n % 3}" for n in range(N)], "pseudonyms_differ"),
    "name and year of birth": (
        [f"{surname()}{RNG.integers(1930, 1990)}" for _ in range(N)],
        "pseudonyms_differ",
    ),
    "initial and name": (
        [f"{draw(LETTERS, 1)}{surname()}1" for _ in range(N)],
        "pseudonyms_differ",
    ),
    "name and spell": ([f"{name}-{n}" for name in SURNAMES for n in (1, 2)], "pseudonyms_differ"),
    "initials and date of birth": (
        [draw(LETTERS, 2) + day() for _ in range(N)],
        "pseudonyms_differ",
    ),
    "initials in the middle": (
        [f"2024-{draw(LETTERS, 2)}-{n:03d}" for n in range(N)],
        "pseudonyms_differ",
    ),
    "initials and number": (
        [f"{draw(LETTERS, 2)}{n}" for n in range(1000, 1000 + N)],
        "pseudonyms_differ",
    ),
    "one letter and date of birth": ([draw(LETTERS, 1) + day() for _ in range(N)], "calendar_date"),
    "date of birth": ([f"P-{day()}" for _ in range(N)], "calendar_date"),
    "date with hyphens": (
        [f"{d[:2]}-{d[2:4]}-{d[4:]}" for d in (day() for _ in range(N))],
        "calendar_date",
    ),
    "date of a visit": (
        [f"P2024{d[2:4]}{d[:2]}" for d in (day() for _ in range(N))],
        "calendar_date",
    ),
    "one letter and year of birth": (
        [f"{draw(LETTERS, 1)}{RNG.integers(1930, 1990)}" for _ in range(N)],
        "calendar_date",
    ),
    "record numbers": ([f"MRN{n}" for n in RNG.integers(400_000, 500_000, N)], "long_number"),
    "bare record numbers": ([str(n) for n in RNG.integers(400_000, 500_000, N)], "long_number"),
    "three record numbers": (["P482133", "P481120", "P499111"], "long_number"),
    "telephone numbers": (
        [f"202-{n:03d}-{m:04d}" for n, m in RNG.integers((200, 0), (1000, 10_000), (N, 2))],
        "long_number",
    ),
    "one name": (["MEIER1952"], "pseudonyms_differ"),
    "three names": (["QUILL-1", "MEIER-1", "KLEIN-2"], "pseudonyms_differ"),
}
AMONG_OTHERS = {
    "pseudonym_unclear": (
        "MEIER-ANNA-1|MEIER1952|JSMITH1|AM140352|EP-482133|MEIERLING|EP-NOBODY|Quillfeather "
        "Z|EP-AO42|SW1A1AA"
    ),
    "calendar_date": "P-20240314|12MAR2024|P2024-03-14",
    "long_number": "4471992|MRN482133|RSSMRA85T10A562S|987-65-4320",
    "telephone_number": "202-555-0143",
    "email_address": "a.person@example.org",
    "pseudonym_too_short": "1|17",
}


@pytest.mark.parametrize("shape", PSEUDONYMS)
def test_codes_that_say_nothing_pass(shape):
    judged = judge_pseudonyms(PSEUDONYMS[shape])
    assert (judged.column_rule, judged.texts) == ("", {})


@pytest.mark.parametrize("shape", IDENTIFYING)
def test_a_column_of_names_or_numbers_does_not(shape):
    codes, rule = IDENTIFYING[shape]
    assert judge_pseudonyms(codes).column_rule == rule


@pytest.mark.parametrize("rule", AMONG_OTHERS)
@pytest.mark.parametrize(
    "others", ["letters and a block", "a word and number", "site, clinic and number"]
)
def test_one_that_is_made_otherwise_stands_out(rule, others):
    for text in AMONG_OTHERS[rule].split("|"):
        judged = judge_pseudonyms([*PSEUDONYMS[others], text])
        assert (judged.column_rule, judged.texts) == ("", {text: rule}), text


def test_codes_drawn_from_all_letters_pass_but_for_those_that_could_be_words():
    codes = [draw(LETTERS + DIGITS, 6) for _ in range(N)]
    judged = judge_pseudonyms([*codes, "MEIERS", "QUILLA"])
    assert judged.column_rule == ""
    assert {"MEIERS", "QUILLA"} <= set(judged.texts)
    assert len(judged.texts) < N / 5
    assert judge_pseudonyms(codes, ("XXXXXX",)).texts == {}


def test_a_declared_shape_is_believed_and_no_other():
    codes = [f"P-{n}" for n in RNG.integers(100_000, 1_000_000, N)]
    assert judge_pseudonyms(codes).column_rule == "long_number"
    assert judge_pseudonyms(codes, ("P-999999",)).texts == {}
    assert judge_pseudonyms([*codes, "MEIER1"], ("P-999999",)).texts == {
        "MEIER1": "pseudonym_unclear"
    }


@given(
    st.lists(
        st.text(alphabet="ABEIJMNRS0123456789-", min_size=3, max_size=8), min_size=1, max_size=12
    ),
    st.randoms(),
)
def test_the_order_of_rows_changes_nothing(codes, random):
    shuffled = random.sample(codes, len(codes))
    assert judge_pseudonyms(codes) == judge_pseudonyms(shuffled)
