"""Linear and integer programs over the cells of a release that hang together: how few and how many each of them can be."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_array, csr_array

CLOSE = 1e-6
FAR = 1e7  # more people than any pool has
SOLVED, CONTRADICTION = 0, 2  # status of a program in scipy
JOINT, DROPPED = 12, 0.8  # joint questions, as long as they leave fewer than this part
NODES = 100  # of the tree of one integer program; what is not decided by then is taken at the bound that is proved, on every machine alike


class Contradiction(Exception):
    """No numbers fit the equations: somebody has left between two releases."""


@dataclass(frozen=True)
class System:
    """The cells of a release with their equations as arrays: for each entry of an equation its row, its cell and its sign."""

    least: np.ndarray
    most: np.ndarray
    row: np.ndarray
    cell: np.ndarray
    sign: np.ndarray
    rows: int

    @cached_property
    def matrix(self) -> csr_array:
        """The equations (rows, cells)."""
        return coo_array((self.sign, (self.row, self.cell)), shape=(self.rows, len(self.least))).tocsr()


class Program:
    """Some cells of a system with the equations that hold them together; what else is in these is known."""

    def __init__(self, system: System, members: list[int], rows: list[int]) -> None:
        equations = system.matrix[rows]
        known = system.most - system.least <= CLOSE
        self.members = members
        self.matrix = equations[:, members]
        self.totals = -(equations @ np.where(known, system.least, 0.0))
        self.least = np.maximum(system.least[members], -FAR)
        self.most = np.minimum(system.most[members], FAR)

    def solve(self, cost: np.ndarray) -> tuple[float, np.ndarray]:
        """The least value of `cost`, never above the true one, and numbers that fit and have it, or nearly so."""
        bounds = np.column_stack([self.least, self.most])
        solved = linprog(cost, A_eq=self.matrix, b_eq=self.totals, bounds=bounds, method="highs")
        if solved.status == CONTRADICTION:
            raise Contradiction
        if solved.status != SOLVED:
            raise RuntimeError(f"the audit's linear program ended with status {solved.status}")
        if is_whole(solved.x):
            return solved.fun, solved.x
        exact = LinearConstraint(self.matrix, self.totals, self.totals)
        whole = milp(
            cost,
            constraints=exact,
            bounds=Bounds(self.least, self.most),
            integrality=np.ones(len(self.members)),
            options={"node_limit": NODES},
        )
        if whole.status == CONTRADICTION:
            raise Contradiction
        if whole.x is None:
            return solved.fun, solved.x
        return whole.mip_dual_bound, whole.x


def is_whole(numbers: np.ndarray) -> bool:
    """Whether all numbers are whole."""
    return bool(np.all(np.abs(numbers - np.round(numbers)) < CLOSE))


Judge = Callable[[int, float, float], bool]


def ask_program(program: Program, asked: list[int], is_given_away: Judge) -> Iterator[tuple[int, float, float]]:
    """The cells of `asked` whose bounds give them away, with these bounds."""
    place = {n: k for k, n in enumerate(program.members)}
    pending = list(asked)
    draw = np.random.default_rng(0)
    for _ in range(JOINT):  # in which all of them are as few, and as many, as can be, each time in other proportions
        before = len(pending)
        weight = np.isin(program.members, pending) * draw.uniform(0.5, 1.5, len(place))
        for cost in (weight, -weight):
            pending = _drop_safe(pending, place, program.solve(cost)[1], is_given_away)
        if not pending or len(pending) > DROPPED * before:
            break
    while pending:
        n = pending.pop(0)
        cost = np.zeros(len(place))
        cost[place[n]] = 1.0
        bounds = []
        for sign in (-1.0, 1.0):
            value, example = program.solve(sign * cost)
            pending = _drop_safe(pending, place, example, is_given_away)
            bounds.append(sign * value)
            if not is_given_away(n, *[np.floor(bounds[0] + CLOSE)] * 2):
                break
        most, least = float(np.floor(bounds[0] + CLOSE)), float(np.ceil(bounds[-1] - CLOSE))
        if len(bounds) == 2 and is_given_away(n, least, most):
            yield n, least, most


def _drop_safe(pending: list[int], place: dict[int, int], example: np.ndarray, is_given_away: Judge) -> list[int]:
    """The cells that one solution does not show to be safe: those that it allows to be nobody, or many, cannot be proved to be few."""
    if not is_whole(example):
        return pending
    return [n for n in pending if is_given_away(n, *[round(example[place[n]])] * 2)]
