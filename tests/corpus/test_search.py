"""The corpus itself: what is open and what is held back, and that a value that leaks is found."""

import pandas as pd
import pytest

from tests.corpus.base import make_tables
from tests.corpus.case import Trap
from tests.corpus.catalogue import list_cases
from tests.corpus.delivery import Delivery
from tests.corpus.half import DATA, is_open, read_entries
from tests.corpus.planted import PLACES
from tests.corpus.register import CLEAN, FIRST, MESSY
from tests.corpus.search import Text, read_written
from tests.corpus.told import find_wrong_reading

KINDS = ("identifiers", "clean", "messy", "first")
WHOLE = {"persons"}  # of use to both halves


def test_only_the_open_half_stands_here():
    list_cases(KINDS)
    for path in DATA.glob("*.csv"):
        kind = "place" if path.stem == "properties" else path.stem
        names = [next(iter(row.values())) for row in read_entries(path.stem)]
        assert path.stem in WHOLE or all(is_open(kind, name) for name in names), path.name
    assert all(is_open("place", name) for name in PLACES)
    assert not any(entry[2] for entry in CLEAN.values())
    assert not any(entry["held"] for entry in [*MESSY.values(), *FIRST.values()])


def test_names_of_cases_are_unique_and_every_delivery_can_be_built(tmp_path):
    cases = list_cases(KINDS)
    names = [(case.kind, case.name) for case in cases]
    assert len(set(names)) == len(names)
    for number, case in enumerate(cases[::37]):
        for delivery in case.build(f"S{100 + number}"):
            assert any(delivery.write(tmp_path).iterdir()) or delivery.left_out


@pytest.mark.parametrize(
    ("needle", "text"),
    [
        ("Brockhagen", "no row of BROCKHAGEN here"),
        ("Annelie Brockhagen", "Annelie\n    Brockhagen"),
        ("Fjällström", r'{"cause": "Fj\u00e4llstr\u00f6m"}'),
        ("O'Hallenan & Co", "O&#39;Hallenan &amp; Co"),
        ("48213907", "value 48213907.0 is above 100"),
        ("93", "age 93, at most 89"),
        ("٤٨٢١٣٩٠٧", "48213907"),
        ("Brockhagen", "B\u200br\u200bo\u200bc\u200bk\u200bh\u200ba\u200bg\u200be\u200bn"),
    ],
)
def test_a_value_is_found_in_every_writing(needle, text):
    assert Text(text).holds(needle)


@pytest.mark.parametrize(
    ("needle", "text"), [("93", "1993 and 930"), ("48213907", "id 148213907"), ("AB1", "cab12")]
)
def test_part_of_another_value_is_no_hit(needle, text):
    assert not Text(text).holds(needle)


def test_a_value_in_a_file_of_rows_is_found(tmp_path):
    rows, page = tmp_path / "rows" / "S11" / "001", tmp_path / "intake" / "S11" / "001"
    rows.mkdir(parents=True)
    page.mkdir(parents=True)
    pd.DataFrame({"patient_id": ["P-0001", "BROCKHAGEN-A"], "age_years": [50, 93]}).to_parquet(
        rows / "episodes.parquet"
    )
    (page / "problems.csv").write_text("value\n48213907\n")
    texts = read_written(tmp_path, "S11", "001")
    assert texts["stored: episodes"].holds("Brockhagen")
    assert texts["stored: episodes"].holds("93")
    assert texts["quoted: problems.csv"].holds("48213907")


def test_a_suggested_code_is_seen_against_a_nonsense_word():
    trap = Trap("examinations", "horizontal", "ageotropic", "geotropic", ("apogeotropic",))
    control = (
        "horizontal must be one of geotropic, apogeotropic, right, left, none. Choose one of the "
        "listed codes."
    )
    assert not find_wrong_reading(trap, control, control, set())
    assert find_wrong_reading(trap, f"{control} Did you mean geotropic?", control, set()) == [
        "suggested geotropic"
    ]
    assert not find_wrong_reading(trap, f"{control} Did you mean apogeotropic?", control, set())
    assert find_wrong_reading(trap, control, control, {"geotropic"}) == ["stored as geotropic"]


def test_the_same_case_gives_the_same_bytes(tmp_path):
    first, second = (Delivery(make_tables("S11")).make_workbook() for _ in range(2))
    assert first == second
