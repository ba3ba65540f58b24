"""What looks like an identifier and what does not. Numbers, names and addresses are those that are kept for fiction or documentation."""

import pytest

from pipeline.intake.patterns import DATE_CELL, DICTIONARY_WORDS, find_identifier, find_in_age, find_in_pseudonym
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
        "45365",
        "14 March 2024",
        "March 14, 2024",
        "14. März",
        "le 14 août 2024",
        "14 de marzo de 2024",
        "Mar-24",
        "12-Dec-2023",
        "2024-03",
        "03/2024",
        "12/03",
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
    "long_number": ["4471992", "MRN4471992", "987-65-4320", "no 123456", "10000", "70000", "001234"],
    "postcode": ["SW1A 1AA", "sw1a1aa", "K1A 0B1", "1012 AB", "D-10115", "02139", "10115 X", "20500-0003"],
    "free_text": ["Example Person", "Person, Example", "fell at home", "x" * 41, "田中 太郎"],
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
        "001",
        "S03",
        "yes",
        "femal",
        "20 s",
        "10-20",
    ),
    *("Epley maneuver", "half Dix-Hallpike test", "head trauma", "01:30:00", "true", "#N/A", "3 sets", "n/a", "-", "?"),
]


@pytest.mark.parametrize(("kind", "text"), [(kind, text) for kind, texts in IDENTIFIERS.items() for text in texts])
def test_identifiers_are_recognised(kind, text):
    assert find_identifier(text, DICTIONARY_WORDS) == kind


@pytest.mark.parametrize("text", PLAIN)
def test_plain_cells_are_not(text):
    assert find_identifier(text, DICTIONARY_WORDS | {"epley"}) is None


def test_no_code_column_name_or_example_of_the_dictionary_is_an_identifier():
    columns = [column for model in TABLES.values() for column in model.describe().values()]
    texts = [text for column in columns for text in (column.name, *(column.codes or ()))]
    texts += [column.example for column in columns if not column.name.endswith("_id")]
    assert [text for text in texts if find_identifier(text, DICTIONARY_WORDS)] == []


@pytest.mark.parametrize(
    "text", ["EP-0042", "S03-0012-1", "A1JAN4", "X7DEC9Q2", "P123456", "0042-0003-B", "ZZ9", "123456"]
)
def test_pseudonyms_pass(text):
    assert find_in_pseudonym(text, DICTIONARY_WORDS) is None


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("1234567", "long_number"),
        ("P-1234567", "long_number"),
        ("P2024-03-14", "calendar_date"),
        ("P-20240314", "calendar_date"),
        ("12MAR2024", "calendar_date"),
        ("987-65-4320", "long_number"),
        ("202-555-0143", "telephone_number"),
        ("a.person@example.org", "email_address"),
        ("EXAMPLE PERSON", "free_text"),
        (DATE_CELL, "calendar_date"),
    ],
)
def test_pseudonyms_that_are_identifiers_do_not(text, kind):
    assert find_in_pseudonym(text, DICTIONARY_WORDS) == kind


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("89", None),
        ("90+", None),
        ("57.0", None),
        ("90", "age_above_89"),
        ("103", "age_above_89"),
        ("95 y", "age_above_89"),
        ("95+", "age_above_89"),
    ],
)
def test_ages_above_89(text, kind):
    """45 CFR 164.514(b)(2)(i)(C): ages over 89 go into one category of 90 and older."""
    assert find_in_age(text, DICTIONARY_WORDS) == kind


def test_in_an_unknown_column_every_text_of_two_words_is_free_text():
    assert find_identifier("head trauma", DICTIONARY_WORDS, unknown_column=True) == "free_text"
    assert find_identifier("12.5", DICTIONARY_WORDS, unknown_column=True) is None
