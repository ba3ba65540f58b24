"""The audit: for every hidden small count, the least and the greatest value that all published tables together allow.

Linear programs over the equations between the cells of a release, with shown cells as known numbers and hidden ones as unknowns that are not
negative (Fischetti M, Salazar JJ. J Am Stat Assoc 2000;95:916-928, from memory; Hundepool A et al. Statistical Disclosure Control. Wiley
2012, chapter 4, from memory). A count is given away if these bounds prove that it lies between 1 and the least group that may be shown, or if
hidden parts of one sum are so few together: what is left of a total is a group of people too. The
bounds of the program are rounded to whole numbers; a proof that needs whole numbers in between is not looked for.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

from pipeline.disclose.cells import Release

CLOSE = 1e-6


@dataclass(frozen=True)
class Exposed:
    """A hidden count that can be proved to be small: its cell, and the equations that prove it, in words."""

    cell: int
    least: int
    most: int
    equations: tuple[frozenset, ...]
    said: tuple[str, ...]


def find_exposed(release: Release, least_shown: int) -> list[Exposed]:
    """The hidden cells of 1 to `least_shown` - 1 people that the release proves to be so small, in the order of the cells."""
    unknown = [n for n in range(len(release.cells)) if n not in release.shown]
    small = [n for n in unknown if 0 < release.cells[n].value < least_shown]
    exposed = {found.cell: found for found in find_small_remainders(release, least_shown)}
    for members, equations in _split_components(release, set(unknown)):
        asked = [n for n in small if n in members]
        if asked and equations:
            exposed |= {found.cell: found for found in _solve(release, sorted(members), equations, asked, least_shown)}
    return [exposed[n] for n in sorted(exposed)]


def find_small_remainders(release: Release, least_shown: int) -> list[Exposed]:
    """Hidden parts that are, all of one sum together, 1 to `least_shown` - 1 people, with a total that is shown."""
    found = {}
    for equation, said in release.equations.items():
        hidden = [n for n, sign in equation if n not in release.shown]
        together = sum(release.cells[n].value for n in hidden)
        if hidden and 0 < together < least_shown and all(sign > 0 for n, sign in equation if n in hidden):
            found.setdefault(min(hidden), Exposed(min(hidden), 0, together, (equation,), (said,)))
    return list(found.values())


def find_exposed_quickly(release: Release, least_shown: int) -> list[Exposed]:
    """Some of what find_exposed finds: bounds are carried through one equation after the other until they no longer change."""
    least = {n: cell.value if n in release.shown else 0 for n, cell in enumerate(release.cells)}
    most = {n: cell.value if n in release.shown else np.inf for n, cell in enumerate(release.cells)}
    open_ = [equation for equation in release.equations if any(n not in release.shown for n, _ in equation)]
    changed = True
    while changed:
        changed = False
        for equation in open_:
            low = {n: sign * (least if sign > 0 else most)[n] for n, sign in equation}
            high = {n: sign * (most if sign > 0 else least)[n] for n, sign in equation}
            for n, sign in equation:
                if n in release.shown:
                    continue
                below = -sum(value for other, value in high.items() if other != n)
                above = -sum(value for other, value in low.items() if other != n)
                bounds = (below, above) if sign > 0 else (-above, -below)
                if bounds[0] > least[n] or bounds[1] < most[n]:
                    least[n], most[n], changed = max(least[n], bounds[0]), min(most[n], bounds[1]), True
    found = [
        n
        for n, cell in enumerate(release.cells)
        if n not in release.shown and 0 < cell.value < least_shown and least[n] >= 1 and most[n] < least_shown
    ]
    by_cell: dict[int, list[frozenset]] = {n: [] for n in found}
    for equation in open_:
        for n, _ in equation:
            if n in by_cell:
                by_cell[n].append(equation)
    return find_small_remainders(release, least_shown) + [
        Exposed(n, int(least[n]), int(most[n]), tuple(near), tuple(release.equations[e] for e in near))
        for n, near in by_cell.items()
    ]


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


def _solve(
    release: Release, members: list[int], equations: list[frozenset], asked: list[int], least_shown: int
) -> list[Exposed]:
    place = {n: k for k, n in enumerate(members)}
    entries, totals = [], []
    for row, equation in enumerate(equations):
        totals.append(-sum(sign * release.cells[n].value for n, sign in equation if n not in place))
        entries += [(row, place[n], sign) for n, sign in equation if n in place]
    rows, columns, signs = zip(*entries, strict=True)
    system = coo_array((signs, (rows, columns)), shape=(len(equations), len(members))).tocsr()
    found, pending = [], list(asked)
    while pending:
        n = pending.pop(0)
        most, example = _reach(system, totals, place[n], -1)
        if example is not None:  # what one solution allows other cells to be needs no program of its own
            pending = [other for other in pending if example[place[other]] < least_shown - CLOSE]
        if most < least_shown:
            least, _ = _reach(system, totals, place[n], 1)
            if least >= 1:
                near = tuple(e for e in equations if any(cell == n for cell, _ in e))
                found.append(Exposed(n, least, most, near, tuple(release.equations[e] for e in near)))
    return found


def _reach(system, totals: list[int], column: int, sign: int) -> tuple[int, np.ndarray | None]:
    """The least (sign 1) or greatest (sign -1) whole number that a cell can be, with a solution that has it; none if there is no greatest."""
    cost = np.zeros(system.shape[1])
    cost[column] = sign
    solved = linprog(cost, A_eq=system, b_eq=totals, bounds=(0, None), method="highs")
    if solved.status == 3:
        return np.iinfo(int).max, None
    if solved.status != 0:
        raise RuntimeError(f"the audit's linear program ended with status {solved.status}")
    value = sign * solved.fun
    return int(np.ceil(value - CLOSE) if sign == 1 else np.floor(value + CLOSE)), solved.x
