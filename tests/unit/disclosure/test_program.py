"""Programs over cells that hang together: how few and how many each can be, in fractions and in
whole numbers."""

import numpy as np
import pytest

from pipeline.disclosure.program import (
    Claims,
    Contradiction,
    Program,
    Questions,
    System,
    split_components,
)


def make(ends: list[tuple[float, float]], *sums: tuple[int, ...]) -> System:
    """Cells by their ends; of each sum the first cell is the whole."""
    entries = [
        (row, cell, 1.0 if place else -1.0)
        for row, cells in enumerate(sums)
        for place, cell in enumerate(cells)
    ]
    row, cell, sign = map(np.array, zip(*entries, strict=True))
    least, most = np.array(ends, dtype=float).T
    return System(least, most, row.astype(int), cell.astype(int), sign, len(sums))


def program_of(system: System) -> Program:
    ((members, rows),) = split_components(system)
    return Program(system, sorted(members), rows)


def cost(program: Program, cell: int, sign: float = 1.0) -> np.ndarray:
    costs = np.zeros(len(program.members))
    costs[program.place[cell]] = sign
    return costs


# a + b = 1, b + c = 1, a + c = 1: each is one half, and no whole number
HALVES = make([(0, 9)] * 3 + [(1, 1)] * 3, (3, 0, 1), (4, 1, 2), (5, 0, 2))
# the same with 9, 9 and 10: 5, 4 and 5
WHOLE = make([(0, 99)] * 3 + [(9, 9), (9, 9), (10, 10)], (3, 0, 1), (4, 1, 2), (5, 0, 2))
# a + b = 7, and b is at most 3
LOOSE = make([(0, np.inf), (0, 3), (7, 7)], (2, 0, 1))


def test_open_cells_hang_together_by_their_sums_and_known_ones_hold_nothing_together():
    system = make([(0, 5), (0, 5), (4, 4), (0, 5), (0, 5)], (2, 0, 1), (2, 3, 4))
    parts = sorted((sorted(members), rows) for members, rows in split_components(system))
    assert parts == [([0, 1], [0]), ([3, 4], [1])]
    linked = make([(0, 5), (0, 5), (4, 4), (0, 5), (0, 5)], (2, 0, 1), (1, 3, 4))
    assert [sorted(members) for members, _ in split_components(linked)] == [[0, 1, 3, 4]]


@pytest.mark.parametrize(("cell", "least", "most"), [(0, 4, 7), (1, 0, 3)])
@pytest.mark.parametrize("solve", ["solve", "solve_whole"])
def test_each_cell_is_as_few_and_as_many_as_can_be(cell, least, most, solve):
    program = program_of(LOOSE)
    low, example = getattr(program, solve)(cost(program, cell))
    high, _ = getattr(program, solve)(cost(program, cell, -1.0))
    assert (low, -high) == (pytest.approx(least), pytest.approx(most))
    assert example.sum() == 7
    assert example[program.place[cell]] == least


def test_fractions_that_fit_are_no_whole_numbers_that_do():
    program = program_of(HALVES)
    value, example = program.solve(cost(program, 0))
    assert value == pytest.approx(0.5)
    assert example is None
    with pytest.raises(Contradiction):
        program.solve_whole(cost(program, 0))
    # what rounding tried leaves no trace
    assert program.solve(cost(program, 0))[0] == pytest.approx(0.5)


def test_what_cannot_be_is_a_contradiction():
    program = program_of(make([(0, 2), (0, 2), (7, 7)], (2, 0, 1)))
    with pytest.raises(Contradiction):
        program.solve(cost(program, 0))


def test_claims_are_proved_or_refuted_by_an_example():
    program = program_of(LOOSE)
    claims = Claims(np.array([0, 1]), np.array([4.0, 1.0]), np.array([7.0, 3.0]))
    questions = Questions(program, claims)
    questions.answer()
    assert questions.proved == [(0, 4.0, 7.0)]
    assert any(example[program.place[1]] < 1 for example in questions.examples)


@pytest.mark.parametrize(("high", "proved"), [(4, False), (5, True), (6, True)])
def test_whole_numbers_prove_a_claim_at_its_very_bound(high, proved):
    questions = Questions(
        program_of(WHOLE), Claims(np.array([0]), np.array([1.0]), np.array([float(high)]))
    )
    questions.answer()
    assert questions.proved == ([(0, 5.0, 5.0)] if proved else [])


def test_a_claim_holds_if_its_cell_lies_within_it():
    claims = Claims(np.array([0, 1, 2]), np.array([1.0, 1.0, 1.0]), np.array([5.0, 5.0, 5.0]))
    proved = claims.hold(np.array([1.0, 0.0, 2.0]), np.array([5.0, 5.0, 6.0]))
    assert proved.tolist() == [True, False, False]
