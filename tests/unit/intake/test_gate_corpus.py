"""A corpus of identifiers planted by a program: the gate finds each of them in its place, finds none in clean deliveries, repeats nothing."""

import logging
from collections import Counter

import pandas as pd
import pytest

from pipeline.intake.gate import find_identifiers
from pipeline.intake.read import read_delivery
from pipeline.intake.receive import receive_delivery
from pipeline.steps.intake import _write_received
from schemas.rules import GATE_RULES
from tests.unit.intake.conftest import write_csv
from tests.unit.intake.corpus import VALUES, plant_cells, plant_more_cells, telling, write_planted_book

BOOKS, FOLDERS = range(5), range(100, 104)


def list_missed(folder, plan, places) -> list[tuple]:
    """The planted places without a hit; where several texts share a place, it needs as many hits. A place without a column is a row."""
    hits = [p for p in find_identifiers(read_delivery(folder), plan.maneuvers) if p.rule in GATE_RULES]
    found = Counter(place for p in hits for place in ((p.table, p.row, p.column), (p.table, p.row, None)))
    missed = []
    for place in places:
        found[place[:3]] -= 1
        missed += [place] if found[place[:3]] < 0 else []
    return missed


def plant(folder, seed) -> list[tuple]:
    if seed in BOOKS:
        return write_planted_book(folder, seed)
    grids, places = plant_cells(seed)
    places += plant_more_cells(grids, seed)
    write_csv(folder, grids)
    return places


def test_every_planted_place_is_found(plan, tmp_path):
    planted, missed = 0, []
    for seed in (*BOOKS, *FOLDERS):
        folder = tmp_path / str(seed) / "S01" / "001"
        places = plant(folder, seed)
        planted += len(places)
        missed += list_missed(folder, plan, places)
    assert missed == []
    assert planted > 500
