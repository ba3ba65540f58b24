"""A corpus of identifiers planted by a program: the gate finds each of them in its place,
finds none in clean deliveries, repeats nothing."""

import json
import logging
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.intake.quote import may_quote
from pipeline.intake.read import read_delivery
from pipeline.intake.receive import receive_delivery, search
from pipeline.intake.report import describe_intake
from pipeline.steps.intake import _write_received
from schemas.delivery import TABLES
from schemas.rules import GATE_RULES
from schemas.site_map import SiteMap
from synthetic_data.scenario import Scenario
from synthetic_data.sites import make_sites
from synthetic_data.tables import simulate_site
from synthetic_data.write import to_cells, write_delivery
from tests.unit.intake.conftest import (
    build_book,
    current_tables,
    plain_tables,
    to_grids,
    write_book,
    write_csv,
)
from tests.unit.intake.corpus import (
    AUTHORS,
    CELLS,
    MAYBE,
    plant_cells,
    plant_more_cells,
    telling,
    write_planted_book,
)

ROOT = Path(__file__).parents[3]
BOOKS, FOLDERS = range(5), range(100, 104)


def list_missed(folder, places) -> list[tuple]:
    """The planted places without a hit; where several texts share a place, it needs as many hits.

    A place without a column is a row, and a column of pseudonyms is told as a whole.
    """
    hits = [p for p in search(read_delivery(folder), SiteMap()) if p.rule in GATE_RULES]
    remaining = Counter(
        place for p in hits for place in ((p.table, p.row, p.column), (p.table, p.row, None))
    )
    whole = {p.column for p in hits if p.rule == "pseudonyms_differ"}
    missed = []
    for place in places:
        if not place[4].startswith(tuple(MAYBE)) and not (
            place[2] in AUTHORS and place[3] == "free_text"
        ):
            remaining[place[:3]] -= 1
            missed += [place] if remaining[place[:3]] < 0 and place[2] not in whole else []
    return missed


def plant(folder, seed) -> list[tuple]:
    if seed in BOOKS:
        return write_planted_book(folder, seed)
    grids, places = plant_cells(seed)
    places += plant_more_cells(grids, seed)
    write_csv(folder, grids)
    return places


def test_every_planted_place_is_found(tmp_path):
    planted, missed = 0, []
    for seed in (*BOOKS, *FOLDERS):
        folder = tmp_path / str(seed) / "S01" / "001"
        places = plant(folder, seed)
        planted += len(places)
        missed += list_missed(folder, places)
    assert missed == []
    assert planted > 500


def receive_and_write(folder, plan, results) -> list[bytes]:
    """All bytes that taking in a delivery leaves behind: files as they are,
    and tables as texts since their files are packed."""
    received = receive_delivery(folder, plan)
    _write_received(received, describe_intake(received), results)
    files = [path for path in results.rglob("*") if path.is_file()]
    assert len(files) == len(received.tables) + 2
    frames = [
        pd.read_parquet(path).to_csv().encode() for path in files if path.suffix == ".parquet"
    ]
    return [
        *(path.read_bytes() for path in files),
        *frames,
        repr(received).encode(),
        str(received.accepted).encode(),
    ]


def find_telling(outputs: list[bytes], texts) -> list[str]:
    whole = b"\n".join(outputs).lower()
    return [part for text in texts for part in telling(text) if part.encode() in whole]


@pytest.mark.parametrize("seed", [0, 100])
def test_no_planted_text_leaves_in_any_byte(plan, tmp_path, seed, caplog, capfd, recwarn):
    folder = tmp_path / "S01" / "001"
    places = plant(folder, seed)
    with caplog.at_level(logging.DEBUG):
        outputs = receive_and_write(folder, plan, tmp_path / "results")
    streams = [caplog.text, *capfd.readouterr(), *(str(warning.message) for warning in recwarn)]
    # digits in a row stand in every packed file of row numbers
    texts = {text for *_, text in places} - {"no 123456"}
    assert find_telling([*outputs, *(stream.encode() for stream in streams)], texts) == []


def test_what_may_be_an_identifier_is_kept_nowhere_in_a_delivery_that_is_accepted(plan, tmp_path):
    """Each text in a column of its own, in rows of which some are set aside for another reason
    too."""
    grids, texts = to_grids(current_tables()), sorted(MAYBE)
    for number, (table, column) in enumerate(CELLS):
        row = 1 + number % 2
        grids[table][row][grids[table][0].index(column)] = texts[number % len(texts)]
    grids["episodes"].append(["Quillfeather-1", "PT_7 Beispielmann"])
    outputs = receive_and_write(
        write_csv(tmp_path / "S01" / "001", grids), plan, tmp_path / "results"
    )
    assert outputs[-1] == b"True"
    assert find_telling(outputs, {*texts, "Quillfeather", "Beispielmann"} - {"no 123456"}) == []


def test_a_fault_of_the_program_tells_no_planted_text(tmp_path):
    """The step as the workflow starts it, on a delivery that its reader is made to fail on."""
    folder = tmp_path / "S01" / "001"
    places = plant(folder, 100)
    program = (
        "import sys, pipeline.intake.receive as r, pipeline.steps.intake as s\n"
        "from pipeline.steps.run import run_step\n"
        "def fail(sheet, *rest): raise ValueError(sheet.cells.to_csv())\n"
        "import pipeline.intake.gate as g; g.search_cells = fail\n"
        "run_step(s.main)"
    )
    command = [
        sys.executable,
        "-c",
        program,
        "--plan",
        str(ROOT / "config"),
        "--results",
        str(tmp_path),
        str(folder),
    ]
    done = subprocess.run(command, capture_output=True, cwd=ROOT, check=False)
    assert done.returncode == 1
    assert b"ValueError" in done.stderr
    assert find_telling([done.stdout, done.stderr], {text for *_, text in places}) == []


LONE = ("Meierling", "QUILLFEATHER", "Nolan", "Yesilgül", "Zacharias", "Źdźbło")


@pytest.mark.parametrize(
    ("table", "column"),
    [("treatments", "maneuver"), ("episodes", "sex"), ("episodes", "cause"), ("followups", "day")],
)
def test_a_lone_word_that_is_no_code_is_neither_kept_nor_repeated(
    folder, plan, tmp_path, table, column
):
    tables = plain_tables()
    tables[table] = [dict(row) for row in tables[table] for _ in LONE]
    for number, row in enumerate(tables[table]):
        row[column] = LONE[number % len(LONE)]
    received = receive_delivery(write_csv(folder, to_grids(tables)), plan)
    _write_received(received, describe_intake(received), tmp_path / "results")
    frames = [rows.to_csv().encode() for rows in received.tables.values()]
    files = [path.read_bytes() for path in (tmp_path / "results").rglob("*.*")]
    assert find_telling([*frames, *files], LONE) == []
    aside = received.tables["set_aside"].query("table == @table")
    assert received.accepted
    assert len(aside) == len(tables[table])
    assert all(json.loads(cells)[column] is None for cells in aside["cells"])


@pytest.mark.parametrize("place", ["header", "sheet", "file"])
def test_a_lone_word_as_a_name_of_a_place_is_not_repeated(folder, plan, place):
    book = build_book(to_grids(plain_tables()))
    if place == "header":
        book["episodes"].cell(1, 60).value, book["episodes"].cell(2, 60).value = "Meierling", "x"
    elif place == "sheet":
        book.create_sheet("Meierling")
    write_book(folder, book, "Meierling.xlsx" if place == "file" else "S01_001.xlsx")
    if place == "file":
        (folder / "Meierling.txt").write_text("x")
    received = receive_delivery(folder, plan)
    assert len(received.tables["problems"]) or place == "file"
    assert b"meierling" not in b"".join(
        rows.to_csv().lower().encode() for rows in received.tables.values()
    )


def test_only_what_has_a_known_meaning_is_repeated():
    episodes, tests = TABLES["episodes"].describe(), TABLES["examinations"].describe()
    for text in ("20 s", "6O", "-3.5", "<60", "1,200", "57 y"):
        assert may_quote(text, tests["duration_s"])
    for text in ("12.345", "123456", "12 Meier", "47 kjm", "Meier 12", "?", "ID 4711", "meier"):
        assert not may_quote(text, tests["duration_s"])
    assert may_quote("femal", episodes["sex"], "female")
    assert may_quote("Head Trauma", episodes["cause"])
    for text in ("meier", "Nolan", "ID 4711", "4711", "Long", "head 12"):
        assert not may_quote(text, episodes["sex"])


# what coordinators write in place of a code: wrong cells, but nothing that points to a person
SLIPS = {
    "sex": ("femal", "F", "m", "Male ", "woman"),
    "cause": (
        "trauma",
        "idiopathc",
        "idiopathic?",
        "head-trauma",
        "After neuritis",
        "n/a",
        "meniere",
    ),
    "recorded_canal": (
        "post",
        "Posterior canal",
        "postreior",
        "horizontal",
        "PSC",
        "right posterior",
    ),
    "recorded_side": ("R", "rigth", "left ear", "bilateral", "L/R"),
    "age_years": ("6O", "57 y", "57,0", "fifty", "90+"),
    "onset_day": ("-3 days", "~ -14", "10-20", "unknown", "-2 weeks"),
    "maneuver": (
        "eply",
        "Epley maneuver",
        "modified Epley",
        "Semont-plus",
        "BBQ roll",
        "semont x2",
        "Epley + Semont",
    ),
    "vertical": ("upbeat", "up-beating", "UP", "none seen"),
    "duration_s": ("20 s", "20sec", "<60", ">60 s", "1:30", "30-60 sec", "90-120", "1500 ms"),
    "positional_symptoms": ("sometimes", "Yes", "nein", "oui", "Y", "no symptoms"),
    "end_of_followup": ("finished", "lost to follow-up", "done", "withdrawn"),
}


def spell_wrongly(cells: dict[str, pd.DataFrame], seed: int) -> None:
    """Slips in about one cell in twenty of the columns above."""
    rng = np.random.default_rng(seed)
    for rows in cells.values():
        for column in rows.columns.intersection(list(SLIPS)):
            hit = rng.random(len(rows)) < 0.05
            rows.loc[hit, column] = rng.choice(np.array(SLIPS[column], dtype=object), hit.sum())


def list_false_alarms(folder, plan, first: int, number: int) -> list[tuple]:
    """Hits of the gate in that many invented deliveries, by turns as workbook and in two dialects
    of .csv, each second one with slips."""
    alarms, sites = [], make_sites(10)
    for seed in range(first, first + number):
        site = replace(sites[seed % 10], form=("xlsx", "csv", "csv_decimal_comma")[seed % 3])
        records = simulate_site(seed, Scenario(), site, 12, plan.maneuvers)
        cells = {name: to_cells(rows) for name, rows in records.tables.items()}
        if seed % 2:
            spell_wrongly(cells, seed)
        target = folder / str(seed) / site.code / "001"
        write_delivery(target, site, cells, SiteMap())
        hits = [*search(handed := read_delivery(target), SiteMap()), *handed.problems]
        alarms += [(seed, p.rule, p.table, p.row, p.column) for p in hits if p.severity == "refuse"]
    return alarms


def test_clean_deliveries_raise_no_alarm(tmp_path, plan):
    assert list_false_alarms(tmp_path, plan, 0, 20) == []


@pytest.mark.slow
def test_two_hundred_clean_deliveries_raise_no_alarm(tmp_path, plan):
    assert list_false_alarms(tmp_path, plan, 20, 200) == []
