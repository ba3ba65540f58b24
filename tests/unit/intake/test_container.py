"""Files that are made to harm are refused with a sentence, within bounded memory and time;
ordinary files are opened."""

import json
import resource
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake import container
from pipeline.intake.container import count_covered, count_rows, find_danger
from pipeline.intake.receive import receive_delivery
from tests.unit.intake.attacks import ATTACKS
from tests.unit.intake.conftest import build_book, plain_tables, to_grids, write_book, write_csv

ROOT = Path(__file__).parents[3]
MOST_SECONDS, MOST_KILOBYTES = 20, 1_000_000
REFUSED_LATER = {
    "understated size": {"unreadable"},
    "nested archives": {"embedded_object"},
    "cell of csv": {"unreadable"},
    "quotes of csv": {"unreadable"},
}


def limit() -> None:
    """What the process may use at all: it dies instead of the computer."""
    resource.setrlimit(resource.RLIMIT_AS, (6_000_000_000, 6_000_000_000))
    resource.setrlimit(resource.RLIMIT_CPU, (200, 200))


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory) -> dict[str, dict]:
    """What became of each attack, in a process of its own with limits."""
    root = tmp_path_factory.mktemp("attacks")
    for name, attack in ATTACKS.items():
        attack(root / name / "S01" / "001")
    command = [sys.executable, "-m", "tests.unit.intake.attacks", str(root)]
    done = subprocess.run(
        command, capture_output=True, text=True, cwd=ROOT, preexec_fn=limit, check=False
    )
    assert done.returncode == 0, done.stderr[-500:]
    assert "uillfeather" not in done.stderr
    return {outcome["attack"]: outcome for outcome in map(json.loads, done.stdout.splitlines())}


@pytest.mark.parametrize("attack", ATTACKS)
def test_an_attack_is_refused_within_bounds_and_repeats_nothing(outcomes, attack):
    outcome = outcomes[attack]
    assert set(outcome["rules"]) == REFUSED_LATER.get(attack, {"not_opened"})
    assert outcome["rows"] == 0
    assert outcome["seconds"] < MOST_SECONDS
    assert outcome["kilobytes"] < MOST_KILOBYTES
    assert not any(text in outcome["text"] for text in ("uillfeather", "root:", "192.0.2.17"))


@pytest.mark.parametrize(
    ("content", "cells"),
    [
        (
            b'<cols><col/></cols><row r="1"><c r="A1"/><c r="B1"><v>1</v></c></row><row '
            b'r="2"/><row><c r="A3"/></row>',
            [2, 0, 1],
        ),
        (b'<row r="1"><c><v>1</v></c><c/><c\tr="C1"/></row><row><c r="A2"/></row>', [3, 1]),
        (b'<x:row r="1"><x:c r="A1"/></x:row><x:row><x:c r="A2"/><c r="B2"/></x:row>', [1, 2]),
        (b'<row r="1"><c r="A1"/></row><cfRule/><conditional/>', [1]),
        (b'<c r="A1"/>', []),
    ],
)
def test_rows_and_their_cells_are_counted(content, cells):
    rows, in_all, in_one = count_rows(content)
    assert (rows, in_all) == (len(cells), sum(cells))
    assert in_one in (0, max(cells, default=0))  # nothing is said of few


@pytest.mark.parametrize("cell", [b"<c />", b"<c/>", b"<x:c/>"])
def test_a_row_of_too_many_cells_is_seen_however_short_they_are(cell):
    before = b"<row>" + cell * 3 + b"</row>"
    assert count_rows(before + b"<row>" + cell * 1001 + b"</row>") == (2, 1004, 1001)


def test_ordinary_files_are_opened(folder):
    paths = [*write_csv(folder / "csv", to_grids(plain_tables())).iterdir()]
    book = build_book(to_grids(plain_tables()))
    book["episodes"].merge_cells("A9:C12")
    book["episodes"]["XFD1"].number_format = "0.0"
    paths += write_book(folder / "book", book).iterdir()
    assert [find_danger(path) for path in paths] == [None] * 6


@pytest.mark.parametrize(
    ("attributes", "cells"),
    [
        (b'ref="A1"', 0),
        (b'ref="A1:B3"', 6),
        (b"display='x' ref='$B$3:$A$1'", 6),
        (b'ref="a1&#58;c1"', 3),
        (b'ref="A1:XFD1048576"', 16_384 * 1_048_576),
    ],
)
def test_covered_cells_are_counted(attributes, cells):
    assert count_covered(attributes) == cells


@pytest.mark.parametrize(
    "limit",
    ["MOST_CELLS", "MOST_COLUMNS", "MOST_ROWS", "MOST_PARTS", "MOST_UNPACKED", "MOST_PACKED"],
)
def test_each_limit_of_a_workbook_is_asked(folder, monkeypatch, limit):
    (path,) = write_book(folder, build_book(to_grids(plain_tables()))).iterdir()
    assert find_danger(path) is None
    monkeypatch.setattr(container, limit, 3)
    monkeypatch.setattr(container, "MOST_TAGS", 1_000_000 if limit != "MOST_COLUMNS" else 500_000)
    assert find_danger(path)


@pytest.mark.parametrize("limit", ["MOST_TEXT", "MOST_LINES", "MOST_COLUMNS", "LONGEST_LINE"])
def test_each_limit_of_a_csv_file_is_asked(folder, monkeypatch, limit):
    path = write_csv(folder, to_grids(plain_tables())) / "episodes.csv"
    assert find_danger(path) is None
    monkeypatch.setattr(container, limit, 2)
    assert find_danger(path)


@settings(max_examples=25, derandomize=True)
@given(
    places=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=6),
    kept=st.floats(0.2, 1),
)
def test_a_damaged_workbook_ends_in_problems_not_in_an_error(tmp_path_factory, plan, places, kept):
    folder = tmp_path_factory.mktemp("damaged") / "S01" / "001"
    path = write_book(folder, build_book(to_grids(plain_tables()))) / "S01_001.xlsx"
    content = bytearray(path.read_bytes())
    for place, byte in places:
        content[int(place * (len(content) - 1))] = byte
    path.write_bytes(content[: int(kept * len(content))])
    received = receive_delivery(folder, plan)
    assert received.accepted or len(received.tables["problems"])


def test_a_part_of_the_same_name_twice_is_refused(folder):
    (path,) = write_book(folder, build_book(to_grids(plain_tables()))).iterdir()
    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(path, "a") as archive:
        archive.writestr("xl/workbook.xml", b"<a/>")
    assert find_danger(path) == "It has two parts of the same name."
