"""The audit: for every hidden count, the least and the greatest value that all published tables together allow.

Linear programs over the equations between the cells of a release, and of the release before, with shown cells as known numbers and hidden
ones as unknowns that are not negative (Fischetti M, Salazar JJ. J Am Stat Assoc 2000;95:916-928, from memory; Hundepool A et al. Statistical
Disclosure Control. Wiley 2012, chapter 4, from memory). A count is given away if these bounds prove that it lies between 1 and the least
group that may be shown, if hidden parts of one sum are so few together (what is left of a total is a group of people too), or, of a count
that comes nearly all from one site, if it cannot be so large that the site would be one of several. The bounds of the program are rounded
to whole numbers; a proof that needs whole numbers in between is not looked for. Between two releases nobody is thought to have left
unless the numbers contradict that.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

from pipeline.disclose.cells import Release

CLOSE = 1e-6
FAR = 1e6  # more people than any pool has
SOLVED, CONTRADICTION, NO_BOUND = 0, 2, 3  # status of a linear program in scipy


class Contradiction(Exception):
    """No numbers fit the equations: somebody has left between two releases."""


@dataclass(frozen=True)
class Exposed:
    """A hidden count that can be proved to be small, or to be one site's: its cell, the equations around it, and those that prove it."""

    cell: int
    least: int
    most: int
    equations: tuple[frozenset, ...]
    proof: tuple[frozenset, ...]


def find_exposed(release: Release, least_shown: int) -> list[Exposed]:
    """The hidden cells that the release gives away, `least_shown` being the least group that may be shown, in the order of the cells."""
    unknown = {n for n in range(len(release.cells)) if n not in release.shown}
    exposed = {found.cell: found for found in find_small_remainders(release, least_shown)}
    parts = [(members, equations) for members, equations in _split_components(release, unknown) if equations]
    open_ = _find_open(release, parts, least_shown)
    for members, equations in parts:
        asked = sorted(members & open_)
        if asked:
            exposed |= {found.cell: found for found in _solve(release, sorted(members), equations, asked, least_shown)}
    return [exposed[n] for n in sorted(exposed)]


def must_be_safe(release: Release, n: int, least_shown: int) -> bool:
    """Whether a hidden cell must not be found: it is small or may be, or it is nearly all one site's."""
    return n in release.change or n in release.least_most or 0 < release.cells[n].value < least_shown


def is_given_away(release: Release, n: int, bounds: tuple[float, float], least_shown: int) -> bool:
    """Whether bounds of a hidden cell prove what must not be known of it."""
    least, most = bounds
    if most < release.least_most.get(n, 0):
        return True
    return (n in release.change or 0 < release.cells[n].value < least_shown) and least >= 1 and most < least_shown


def find_small_remainders(release: Release, least_shown: int) -> list[Exposed]:
    """Hidden parts that are, all of one sum together, 1 to `least_shown` - 1 people, with a total that is shown; or so many more or fewer than
    in the release before."""
    found = {}
    for equation in release.equations:
        hidden = [(n, sign) for n, sign in equation if n not in release.shown]
        if not hidden or any(sign < 0 or n in release.past for n, sign in hidden):
            continue
        together = abs(sum(sign * release.cells[n].value for n, sign in equation if n in release.shown))
        if 0 < together < least_shown:
            first = min(n for n, _ in hidden)
            found.setdefault(first, Exposed(first, 0, together, (equation,), (equation,)))
    return list(found.values())


def find_exposed_quickly(release: Release, least_shown: int) -> list[Exposed]:
    """Some of what find_exposed finds: bounds are carried through one equation after the other until they no longer change."""
    least, most, open_ = carry_bounds(release)
    found = [
        n
        for n in range(len(release.cells))
        if n not in release.shown and is_given_away(release, n, (least[n], most[n]), least_shown)
    ]
    by_cell: dict[int, list[frozenset]] = {n: [] for n in found}
    for equation in open_:
        for n, _ in equation:
            if n in by_cell:
                by_cell[n].append(equation)
    return find_small_remainders(release, least_shown) + [
        Exposed(n, int(least[n]), int(most[n]), tuple(near), tuple(near)) for n, near in by_cell.items()
    ]


def carry_bounds(release: Release) -> tuple[dict[int, float], dict[int, float], list[frozenset]]:
    """The least and the greatest value of each cell, as far as single equations carry them, and the equations with unknowns.

    Of changes nothing is assumed here, so that no bounds contradict each other without end.
    """
    cells = enumerate(release.cells)
    least = {n: cell.value if n in release.shown else -np.inf if n in release.change else 0 for n, cell in cells}
    most = {n: cell.value if n in release.shown else np.inf for n, cell in enumerate(release.cells)}
    open_ = [equation for equation in release.equations if any(n not in release.shown for n, _ in equation)]
    changed = True
    while changed:
        changed = False
        for equation in open_:
            for n, below, above in _bound_by(equation, release, least, most):
                if below > least[n] or above < most[n]:
                    least[n], most[n] = max(least[n], below), min(most[n], above)
                    changed |= least[n] <= most[n]
    return least, most, open_


def _bound_by(equation: frozenset, release: Release, least: dict, most: dict):
    """What one equation says of each of its unknowns."""
    low = {n: sign * (least if sign > 0 else most)[n] for n, sign in equation}
    high = {n: sign * (most if sign > 0 else least)[n] for n, sign in equation}
    for n, sign in equation:
        if n not in release.shown:
            below = -sum(value for other, value in high.items() if other != n)
            above = -sum(value for other, value in low.items() if other != n)
            yield (n, below, above) if sign > 0 else (n, -above, -below)


def _split_components(release: Release, unknown: set[int]) -> list[tuple[set[int], list[frozenset]]]:
    """Unknown cells that hang together by equations, with these; equations without unknowns tell nothing."""
    owner = {n: n for n in unknown}

    def find(n: int) -> int:
        while owner[n] != n:
            owner[n] = owner[owner[n]]
            n = owner[n]
        return n

    involved = {equation: [n for n, _ in equation if n in unknown] for equation in release.equations}
    for cells in involved.values():
        for other in cells[1:]:
            owner[find(other)] = find(cells[0])
    parts: dict[int, tuple[set[int], list[frozenset]]] = {}
    for n in unknown:
        parts.setdefault(find(n), (set(), []))[0].add(n)
    for equation, cells in involved.items():
        if cells:
            parts[find(cells[0])][1].append(equation)
    return list(parts.values())


@dataclass(frozen=True)
class System:
    """The equations of one component as a linear program: its unknown cells in order, and the least that each can be."""

    members: list[int]
    equations: list[frozenset]
    matrix: coo_array
    totals: list[int]
    least: np.ndarray

    def reach(self, cost: np.ndarray, farthest: float = np.inf) -> tuple[float, np.ndarray | None, np.ndarray | None]:
        """The least value of `cost`, a solution that has it, and how much each equation matters for it; minus infinity if there is no least."""
        bounds = np.column_stack([np.maximum(self.least, -farthest), np.full(len(self.least), farthest)])
        solved = linprog(cost, A_eq=self.matrix, b_eq=self.totals, bounds=bounds, method="highs")
        if solved.status == NO_BOUND:
            return -np.inf, None, None
        if solved.status == CONTRADICTION:
            raise Contradiction
        if solved.status != SOLVED:
            raise RuntimeError(f"the audit's linear program ended with status {solved.status}")
        return solved.fun, solved.x, solved.eqlin.marginals


def make_system(release: Release, members: list[int], equations: list[frozenset], *, none_left: bool) -> System:
    """The program of some unknown cells and the equations that hold them; with `none_left` nobody left between two releases."""
    place = {n: k for k, n in enumerate(members)}
    entries, totals = [], []
    for row, equation in enumerate(equations):
        totals.append(-sum(sign * release.cells[n].value for n, sign in equation if n not in place))
        entries += [(row, place[n], sign) for n, sign in equation if n in place]
    rows, columns, signs = zip(*entries, strict=True)
    matrix = coo_array((signs, (rows, columns)), shape=(len(equations), len(members))).tocsr()
    least = np.array([-np.inf if n in release.change and not none_left else 0.0 for n in members])
    return System(members, equations, matrix, totals, least)


def _find_open(release: Release, parts: list, least_shown: int) -> set[int]:
    """The cells that must be safe and are not shown to be so by two programs over all parts at once, which are far quicker than two of each."""
    members = sorted(n for cells, _ in parts for n in cells)
    asked = [n for n in members if must_be_safe(release, n, least_shown)]
    if not asked:
        return set()
    try:
        system = make_system(release, members, [e for _, own in parts for e in own], none_left=True)
        return set(_clear_together(release, system, asked, least_shown))
    except Contradiction:
        return set(asked)


def _clear_together(release: Release, system: System, asked: list[int], least_shown: int) -> list[int]:
    """What is left of the cells after the solutions in which all of them together are as few, and as many, as can be."""
    pending, among = asked, np.isin(system.members, asked).astype(float)
    for cost in (among, -among):
        pending = _drop_safe(release, system, pending, system.reach(cost, FAR)[1], least_shown)
    return pending


def _solve(
    release: Release, members: list[int], equations: list[frozenset], asked: list[int], least_shown: int
) -> list[Exposed]:
    try:
        return _ask(release, make_system(release, members, equations, none_left=True), asked, least_shown)
    except Contradiction:
        return _ask(release, make_system(release, members, equations, none_left=False), asked, least_shown)


def _ask(release: Release, system: System, asked: list[int], least_shown: int) -> list[Exposed]:
    place = {n: k for k, n in enumerate(system.members)}
    found, pending = [], _clear_together(release, system, asked, least_shown)
    while pending:
        n = pending.pop(0)
        cost = np.zeros(len(place))
        cost[place[n]] = 1
        highest, example, above = system.reach(-cost)
        if example is None:
            continue
        pending = _drop_safe(release, system, pending, example, least_shown)  # one solution tells of all cells
        most = int(np.floor(-highest + CLOSE))
        if most >= max(release.least_most.get(n, 0), least_shown):
            continue
        lowest, example, below = system.reach(cost)
        least = int(np.ceil(lowest - CLOSE)) if example is not None else 0
        if is_given_away(release, n, (least, most), least_shown):
            near = tuple(e for e in system.equations if any(cell == n for cell, _ in e))
            weight = np.abs(above) + (0 if below is None else np.abs(below))
            proof = tuple(e for e, matters in zip(system.equations, weight, strict=True) if matters > CLOSE)
            found.append(Exposed(n, least, most, near, proof))
    return found


def _drop_safe(
    release: Release, system: System, pending: list[int], example: np.ndarray, least_shown: int
) -> list[int]:
    """The cells that one solution does not show to be safe: those that it allows to be nobody, or many, cannot be proved to be few."""
    bounds = zip(np.ceil(example - CLOSE), np.floor(example + CLOSE), strict=True)
    at = dict(zip(system.members, bounds, strict=True))
    return [n for n in pending if is_given_away(release, n, at[n], least_shown)]
