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


def expose(cells, *exposed: int, **more) -> str:
    bounds = np.array([(value, value) for value in cells.values])
    bounds[list(exposed)] = 0, np.inf
    return describe_exposed([Exposed(n, 5, 5, **more) for n in exposed], cells, bounds)


def test_what_is_given_away_is_named_with_its_sum_and_hidden_parts_in_brackets(cells):
    message = expose(cells, find(cells, "canal=anterior"))
    assert message.startswith("1 hidden count can be worked out")
    assert "(a small group)" in message
    (line,) = (line for line in message.splitlines() if line.startswith("  - "))
    hidden, shown = (
        cells.keys[find(cells, "anterior")].say(),
        cells.keys[find(cells, "lateral")].say(),
    )
    assert f"({hidden})" in line
    assert shown in line
    assert f"({shown})" not in line


def test_no_number_of_people_is_said(cells):
    message = expose(cells, *range(len(cells.keys)))
    assert not any(str(n) in message for n in (*COUNTS.values(), sum(COUNTS.values())) if n > 9)


def test_whose_eyes_and_whose_count_it_is_are_said(cells):
    cell = find(cells, "canal=anterior")
    assert "for the eyes of a site that knows its own" in expose(cells, cell, eyes=2)
    cells.floor[cell] = 11
    try:
        assert "(nearly all of one site)" in expose(cells, cell)
    finally:
        del cells.floor[cell]


def test_a_long_list_is_cut_and_the_rest_is_counted(cells):
    cell = find(cells, "canal=anterior")
    bounds = np.zeros((len(cells.keys), 2))
    exposed = [Exposed(cell, 5, 5)] * (MOST_FOUND + 3)
    message = describe_exposed(exposed, cells, bounds)
    assert message.startswith(f"{MOST_FOUND + 3} hidden counts")
    assert "and 3 more counts." in message
    others = [n for n in range(len(cells.keys)) if n != cell]
    many = {
        frozenset([(cell, 1), *zip(others, signs, strict=True)]): "sum"
        for signs in islice(product((1, -1), repeat=len(others)), MOST_SUMS + 2)
    }
    assert len(many) == MOST_SUMS + 2
    kept, cells.equations = cells.equations, many
    try:
        assert "and 2 more sums" in describe_exposed(exposed[:1], cells, bounds)
    finally:
        cells.equations = kept
