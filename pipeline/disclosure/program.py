"""Linear and integer programs over the cells of a release that hang together:
how few and how many each of them can be.

One model is kept for all questions to the same cells: from the solution of the last one the next is
a short way. Most cells are shown to be safe by a few whole solutions in which many of them at once
are as few, or as many, as can be.
"""

from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import highspy
import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components

CLOSE = 1e-6
FAR = 1e7  # more people than any pool has
JOINT, IN_VAIN = 24, 6  # joint questions at most, and as long as not so many in turn were of no use
DIVE = 0.25  # part of the cells that are not yet whole which are rounded at a time
# of the tree of one integer program; what is not decided by then is taken at the bound that is
# proved, on every machine alike
NODES = 100


class Contradiction(Exception):
    """No numbers fit the equations: somebody has left between two releases."""


@dataclass(frozen=True)
class System:
    """The cells of a release with their equations as arrays.

    Attributes
    ----------
    least, most
        What each cell can be, (cells,).
    row, cell, sign
        Of each entry of an equation, (entries,).
    rows
        Number of equations.
    """

    least: np.ndarray
    most: np.ndarray
    row: np.ndarray
    cell: np.ndarray
    sign: np.ndarray
    rows: int

    @cached_property
    def matrix(self) -> csr_array:
        """The equations (rows, cells)."""
        return coo_array(
            (self.sign, (self.row, self.cell)), shape=(self.rows, len(self.least))
        ).tocsr()


def split_components(system: System) -> list[tuple[list[int], list[int]]]:
    """Cells that are not known and hang together by equations, with the rows of these."""
    rows, cells = (
        ends[system.most[system.cell] > system.least[system.cell]]
        for ends in (system.row, system.cell)
    )
    size = system.rows + len(system.least)  # the rows, then the cells
    joined = coo_array((np.ones(len(rows)), (rows, system.rows + cells)), shape=(size, size))
    part_of = connected_components(joined, directed=False)[1]
    parts: dict[int, tuple[list[int], list[int]]] = {}
    for row in np.unique(rows).tolist():
        parts.setdefault(part_of[row], ([], []))[1].append(row)
    for cell in np.unique(cells).tolist():
        parts[part_of[system.rows + cell]][0].append(cell)
    return list(parts.values())


class Program:
    """Some cells of a system with the equations that hold them together;
    what else is in these is known."""

    def __init__(self, system: System, members: list[int], rows: list[int]) -> None:
        equations = system.matrix[rows]
        known = system.most - system.least <= CLOSE
        self.members = np.array(members)
        self.matrix = equations[:, members].tocsc()
        self.totals = -(equations @ np.where(known, system.least, 0.0))
        self.least = np.maximum(system.least[members], -FAR)
        self.most = np.minimum(system.most[members], FAR)
        self.place = np.full(len(system.least), -1)
        self.place[members] = np.arange(len(members))
        self._all = np.arange(len(members), dtype=np.int32)

    @cached_property
    def _model(self) -> highspy.Highs:
        model = self._make_model()
        model.setOptionValue("presolve", "off")  # which would forget the last solution
        return model

    def _make_model(self) -> highspy.Highs:
        described = highspy.HighsLp()
        described.num_row_, described.num_col_ = self.matrix.shape
        described.col_cost_ = np.zeros(len(self.members))
        described.col_lower_, described.col_upper_ = self.least, self.most
        described.row_lower_ = described.row_upper_ = self.totals
        described.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        described.a_matrix_.start_, described.a_matrix_.index_ = (
            self.matrix.indptr,
            self.matrix.indices,
        )
        described.a_matrix_.value_ = self.matrix.data
        model = highspy.Highs()
        model.setOptionValue("output_flag", False)
        model.setOptionValue("threads", 1)
        model.passModel(described)
        return model

    def solve(self, cost: np.ndarray) -> tuple[float, np.ndarray | None]:
        """Minimise a cost by a linear program.

        Parameters
        ----------
        cost
            Of one person in each member, (members,).

        Returns
        -------
        tuple
            The least cost, never above that of whole numbers, and whole numbers that fit and cost
            nearly as little, None if none are found.

        Raises
        ------
        Contradiction
            If no numbers fit.
        """
        self._model.changeColsCost(len(cost), self._all, cost)
        numbers = self._run(self._model)
        if numbers is None:
            raise Contradiction
        return self._model.getInfo().objective_function_value, self._round(numbers)

    def _round(self, numbers: np.ndarray) -> np.ndarray | None:
        """Whole numbers that fit: those nearest to being whole are rounded first,
        and the others follow; None where that leads nowhere."""
        fixed: list[int] = []
        while numbers is not None and (far := np.abs(numbers - np.round(numbers))).max() > CLOSE:
            apart = np.flatnonzero(far > CLOSE)
            chosen = apart[np.argsort(far[apart], kind="stable")[: max(1, int(DIVE * len(apart)))]]
            for k in chosen:
                self._model.changeColBounds(int(k), *[float(round(numbers[k]))] * 2)
            fixed += chosen.tolist()
            numbers = self._run(self._model)
        for k in fixed:
            self._model.changeColBounds(k, self.least[k], self.most[k])
        return None if numbers is None else np.round(numbers)

    def solve_whole(self, cost: np.ndarray) -> tuple[float, np.ndarray | None]:
        """The same of an integer program: a value that is nearer to the true one,
        and never above it."""
        model = self._make_model()
        model.changeColsCost(len(cost), self._all, cost)
        model.changeColsIntegrality(
            len(cost), self._all, np.full(len(cost), highspy.HighsVarType.kInteger)
        )
        model.setOptionValue("mip_max_nodes", NODES)
        numbers = self._run(model)
        if model.getModelStatus() == highspy.HighsModelStatus.kInfeasible:
            raise Contradiction
        return model.getInfo().mip_dual_bound, None if numbers is None else np.round(numbers)

    @staticmethod
    def _run(model: highspy.Highs) -> np.ndarray | None:
        """Numbers that fit; None if there are none, or none were found."""
        model.run()
        status, states = model.getModelStatus(), highspy.HighsModelStatus
        if status in (states.kInfeasible, states.kUnboundedOrInfeasible):
            return None
        if status not in (states.kOptimal, states.kSolutionLimit):
            raise RuntimeError(f"the audit's program ended with {status.name}")
        feasible = (
            model.getInfo().primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
        )
        return np.array(model.getSolution().col_value) if feasible else None


class Claims(NamedTuple):
    """What must not be proved: that `cell` is at least `low` and at most `high`, (claims)."""

    cell: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def take(self, chosen: np.ndarray | slice) -> "Claims":
        """Some of them."""
        return Claims(*(each[chosen] for each in self))

    def hold(self, least: np.ndarray, most: np.ndarray) -> np.ndarray:
        """Which are proved by what each cell is at least and at most (cells),
        of one that is not known none."""
        return (least[self.cell] >= self.low) & (most[self.cell] <= self.high)


@dataclass
class Questions:
    """Claims on cells of a program: those that are `pending`, those that are `proved` with the
    least and the most that the cell can be, and whole solutions that refute others."""

    program: Program
    pending: Claims
    proved: list[tuple[int, float, float]] = field(default_factory=list)
    examples: list[np.ndarray] = field(default_factory=list)

    def answer(self) -> None:
        """Ask for many at once, and then for each that is left."""
        self.ask_together()
        while len(self.pending.cell):
            first, self.pending = self.pending.take(slice(0, 1)), self.pending.take(slice(1, None))
            ends = self._ask_alone(first)
            if ends is not None:
                self.proved.append((int(first.cell[0]), *ends))

    def ask_together(self) -> None:
        """Ask for all to be as few or as many as can be, each time in other proportions."""
        program, draw, in_vain = self.program, np.random.default_rng(0), 0
        for turn in range(JOINT):
            before = len(self.pending.cell)
            if not before or in_vain >= IN_VAIN:
                return
            place = program.place[self.pending.cell]
            side = (
                draw.choice([-1.0, 1.0], before)
                if turn % 3 == 2
                else np.full(before, (-1.0, 1.0)[turn % 3])
            )
            side[program.least[place] >= self.pending.low] = -1.0
            side[program.most[place] <= self.pending.high] = 1.0
            cost = np.bincount(
                place, side * draw.uniform(0.5, 1.5, before), minlength=len(program.members)
            )
            self._learn(program.solve(cost)[1], self.pending.take(slice(0, 0)))
            in_vain = in_vain + 1 if len(self.pending.cell) == before else 0

    def _ask_alone(self, claim: Claims) -> tuple[float, float] | None:
        """The least and the most that the cell of one claim can be, if that proves the claim."""
        (cell,), (low,), (high,) = claim
        place = self.program.place[cell]
        ends = []
        for sign, end, claimed in (
            (1.0, self.program.least[place], low),
            (-1.0, -self.program.most[place], -high),
        ):
            cost = np.zeros(len(self.program.members))
            cost[place] = sign
            for solve in (self.program.solve, self.program.solve_whole):
                if end >= claimed:
                    break
                value, example = solve(cost)
                end = np.ceil(value - CLOSE)
                if self._learn(example, claim):
                    return None
            if end < claimed:
                return None
            ends.append(float(sign * end))
        return ends[0], ends[1]

    def _learn(self, example: np.ndarray | None, claim: Claims) -> bool:
        """Drop what whole numbers refute; whether they refute `claim` too."""
        if example is None:
            return False
        claims = Claims(*(np.concatenate(each) for each in zip(claim, self.pending, strict=True)))
        numbers = example[self.program.place[claims.cell]]
        refuted = (numbers < claims.low) | (numbers > claims.high)
        if refuted.any():
            self.examples.append(example)
        size = len(claim.cell)
        self.pending = self.pending.take(~refuted[size:])
        return bool(refuted[:size].any())
