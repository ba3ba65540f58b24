"""One text, judged by what its column may hold."""

import pytest

from pipeline.intake.identifiers import (
    find_in_age,
    find_in_days,
    is_unclear_number,
)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("89", None),
        ("90+", None),
        ("57.0", None),
        ("90", "age_above_89"),
        ("103", "age_above_89"),
        ("190", None),
        ("2024", None),
        ("95 y", "age_above_89"),
        ("95+", "age_above_89"),
        ("ninety-three", "age_above_89"),
        ("noventa y cuatro", "age_above_89"),
        ("eighty-nine", None),
    ],
)
def test_ages_above_89(text, kind):
    """45 CFR 164.514(b)(2)(i)(C): ages over 89 go into one category of 90 and older."""
    assert find_in_age(text) == kind


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("45365", "calendar_date"),
        ("36500", "calendar_date"),
        ("29999", None),
        ("-12000", None),
        ("7", None),
    ],
)
def test_days_that_a_spreadsheet_made_of_dates(text, kind):
    assert find_in_days(text) == kind


@pytest.mark.parametrize(
    ("text", "unclear"),
    [
        ("10115", True),
        ("48213", True),
        ("02139", True),
        ("007", False),
        ("9999", False),
        ("43200", False),
        ("0.125", False),
        ("-12000", False),
    ],
)
def test_numbers_with_more_digits_than_a_measurement(text, unclear):
    """43200 seconds are the twelve hours of a forced prolonged position."""
    assert is_unclear_number(text) == unclear
