"""What may be repeated to a site: short numbers, codes and usual words; no other word."""

import pytest

from pipeline.intake.problem import DESCRIBED
from pipeline.intake.quote import may_name_place, may_quote

AGE, SEX = DESCRIBED["episodes"]["age_years"], DESCRIBED["episodes"]["sex"]


@pytest.mark.parametrize("text", ["64", "64 y", "~7", "6,5", "12 days", ">40"])
def test_a_short_number_may_be_repeated_where_a_number_belongs(text):
    assert may_quote(text, AGE)


@pytest.mark.parametrize("text", ["12345", "0049 171", "Meier", "64 Meier", "12.03.1952", ""])
def test_a_long_number_or_a_word_may_not(text):
    assert not may_quote(text, AGE)


def test_a_text_is_repeated_only_if_it_is_or_may_mean_a_code():
    assert may_quote("Female", SEX)
    assert may_quote("femle", SEX, meant="female")
    assert not may_quote("Meier", SEX)
    assert not may_quote("64", SEX)


@pytest.mark.parametrize(
    ("name", "allowed"),
    [
        ("Remarks", True),
        ("data sheet", True),
        ("age_yeers", True),
        ("Meier", False),
        ("visit Meier", False),
    ],
)
def test_a_place_is_named_by_usual_words_or_slips_of_the_dictionary(name, allowed):
    assert may_name_place(name, DESCRIBED["episodes"]) is allowed
