"""What is said of a release that gives something away: names and sums, and no number."""

from itertools import islice, product

import numpy as np
import pytest

from pipeline.disclosure.audit import Exposed
from pipeline.disclosure.message import MOST_FOUND, MOST_SUMS, describe_exposed
from pipeline.disclosure.release import state_all
from tests.pool_of_counts import RULE, curves

COUNTS = {"canal=posterior": 311, "canal=lateral": 107, "canal=anterior": 5}


@pytest.fixture(scope="module")
def cells():
    return state_all(curves(COUNTS), RULE).audit.cells


def find(cells, name: str) -> int:
    return next(n for n, key in enumerate(cells.keys) if name in key.say())


def expose(cells, *found: int, **more) -> str:
    bounds = np.array([(value, value) for value in cells.values])
    bounds[list(found)] = 0, np.inf
    return describe_exposed([Exposed(n, 5, 5, **more) for n in found], cells, bounds)


def test_what_is_given_away_is_named_with_its_sum_and_hidden_parts_in_brackets(cells):
    said = expose(cells, find(cells, "canal=anterior"))
    assert said.startswith("1 hidden count can be worked out")
    assert "(a small group)" in said
    (line,) = (line for line in said.splitlines() if line.startswith("  - "))
    hidden, shown = (
        cells.keys[find(cells, "anterior")].say(),
        cells.keys[find(cells, "lateral")].say(),
    )
    assert f"({hidden})" in line
    assert shown in line
    assert f"({shown})" not in line


def test_no_number_of_people_is_said(cells):
    said = expose(cells, *range(len(cells.keys)))
    assert not any(str(n) in said for n in (*COUNTS.values(), sum(COUNTS.values())) if n > 9)


def test_whose_eyes_and_whose_count_it_is_are_said(cells):
    own = find(cells, "canal=anterior")
    assert "for the eyes of a site that knows its own" in expose(cells, own, eyes=2)
    cells.floor[own] = 11
    try:
        assert "(nearly all of one site)" in expose(cells, own)
    finally:
        del cells.floor[own]


def test_a_long_list_is_cut_and_the_rest_is_counted(cells):
    own = find(cells, "canal=anterior")
    bounds = np.zeros((len(cells.keys), 2))
    found = [Exposed(own, 5, 5)] * (MOST_FOUND + 3)
    said = describe_exposed(found, cells, bounds)
    assert said.startswith(f"{MOST_FOUND + 3} hidden counts")
    assert "and 3 more counts." in said
    others = [n for n in range(len(cells.keys)) if n != own]
    many = {
        frozenset([(own, 1), *zip(others, signs, strict=True)]): "sum"
        for signs in islice(product((1, -1), repeat=len(others)), MOST_SUMS + 2)
    }
    assert len(many) == MOST_SUMS + 2
    kept, cells.equations = cells.equations, many
    try:
        assert "and 2 more sums" in describe_exposed(found[:1], cells, bounds)
    finally:
        cells.equations = kept
