"""What looks like an identifier and what does not. Numbers, names and addresses are those that are kept for fiction or documentation."""

import pytest

from pipeline.intake.identifiers import find_identifier, find_in_age, find_in_days, is_unclear_number
from pipeline.intake.patterns import DATE_CELL
from schemas.delivery import TABLES

# example.org: RFC 2606. 192.0.2.0/24: RFC 5737. 2001:db8::/32: RFC 3849. 202-555-01xx and 020 7946 0xxx: numbers kept for drama by the
# North American numbering plan and by Ofcom. 987-65-4320 to 4329: social security numbers kept for advertisements (all from memory).
IDENTIFIERS = {
    "calendar_date": [
        "2024-03-14",
        "2024/3/14",
        "14.03.2024",
        "3/14/2024",
        "14/3/24",
        "14. 3. 2024",
        "2024-03-14T10:30:00",
        "20240314",
        "14 March 2024",
        "March 14, 2024",
        "14. März",
        "le 14 août 2024",
        "14 de marzo de 2024",
        "Mar-24",
        "12-Dec-2023",
        "2024-03",
        "03/2024",
        "2024-W11",
        "2024年3月14日",
        "١٤/٠٣/٢٠٢٤",
        DATE_CELL,
    ],
    "telephone_number": [
        "202-555-0143",
        "(202) 555-0143",
        "+44 20 7946 0958",
        "020 7946 0958",
        "555-0143",
        "+442079460958",
        "tel 555 0143",
    ],
    "email_address": ["a.person@example.org", "write to a.person@example.org now"],
    "web_address": ["https://example.org/p/1", "www.example.org", "example.org", "records.example.com"],
    "ip_address": ["192.0.2.17", "from 192.0.2.17", "2001:db8:0:0:0:0:0:17", "2001:db8::17"],
    "long_number": ["4471992", "MRN4471992", "987-65-4320", "MRN 482133", "ID 4711", "001234"],
    "postcode": ["SW1A 1AA", "sw1a1aa", "K1A 0B1", "D-10115", "10115 Berlin"],
    "free_text": ["Mr Person", "Dr. med. Example", "patient: Example", "Examplestraße 12", "x" * 201],
}
PLAIN = [
    *(
        "7",
        "-3",
        "12.5",
        "12,5",
        "2024",
        "9999",
        "0.30000000000000004",
        "1e-05",
        "90+",
        ".1234567",
        "001",
        "S03",
        "yes",
        "femal",
        "20 s",
        "10-20",
    ),
    *("Epley maneuver", "half Dix-Hallpike test", "head trauma", "01:30:00", "true", "#N/A", "3 sets", "n/a", "-", "?"),
    *(
        "phone call",
        "fell at home",
        "2021-2026",
        "100-1200",
        "30-60-90-120",
        "45 90 90 45",
        "3/10",
        "1/2",
        "12/03",
        "yes.no",
        "120 ms max",
        "2000 steps",
    ),
    *(
        "Patient Declined",
        "week 4",
        "10115",
        "1012 AB",
        "12-345",
        "45365",
        "10000",
        "no 123456",
        "Example Person",
        "x" * 41,
        "1.2.3",
        "2x 60 sec",
    ),
]


@pytest.mark.parametrize(("kind", "text"), [(kind, text) for kind, texts in IDENTIFIERS.items() for text in texts])
def test_identifiers_are_recognised(kind, text):
    assert find_identifier(text) == kind


@pytest.mark.parametrize("text", PLAIN)
def test_plain_cells_are_not(text):
    assert find_identifier(text) is None


def test_no_code_column_name_or_example_of_the_dictionary_is_an_identifier():
    columns = [column for model in TABLES.values() for column in model.describe().values()]
    texts = [text for column in columns for text in (column.name, *(column.codes or ()))]
    texts += [column.example for column in columns if not column.name.endswith("_id")]
    assert [text for text in texts if find_identifier(text)] == []


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
    ],
)
def test_ages_above_89(text, kind):
    """45 CFR 164.514(b)(2)(i)(C): ages over 89 go into one category of 90 and older."""
    assert find_in_age(text) == kind


@pytest.mark.parametrize(
    ("text", "kind"),
    [("45365", "calendar_date"), ("36500", "calendar_date"), ("29999", None), ("-12000", None), ("7", None)],
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
