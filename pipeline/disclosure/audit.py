"""The audit: for every hidden count, the least and the greatest value that all published tables
together allow.

Every cell is an unknown with what the release shows of it as its bounds, and the equations between
them hold (Fischetti M, Salazar JJ. J Am Stat Assoc 2000;95:916-928, from memory; Hundepool A et al.
Statistical Disclosure Control. Wiley 2012, chapter 4, from memory). Bounds are carried through the
equations first; what that leaves open is asked of linear programs, and of integer programs where a
solution is not whole (pipeline/disclosure/program.py). A count is given away if it is proved to lie
between 1 and the least group that may be shown; if hidden parts of one sum are so few together; or,
of a count that is nearly all one site's, if it cannot be so large that the site would be one of
several. A site knows its own people: for its eyes the same is asked of the others in every cell, in
those that are shown too. Whole numbers that fit all equations and by which a cell is safe
(`examples`) are kept, since hiding more leaves them possible.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.exact_limits import narrow_by_limits
from pipeline.disclosure.known import Known
from pipeline.disclosure.program import (
    CLOSE,
    Claims,
    Contradiction,
    Program,
    Questions,
    System,
    split_components,
)

PASSES = 500
EVERYBODY = -1  # the eyes of somebody who knows of no site


@dataclass(frozen=True)
class Exposed:
    """A count that can be proved to be small, or to be one site's.

    Attributes
    ----------
    cell
        Number of the cell.
    least, most
        What it can be.
    eyes
        Number of the site for whose eyes, or EVERYBODY.
    quickly
        Whether single equations prove it.
    """

    cell: int
    least: float
    most: float
    eyes: int = EVERYBODY
    quickly: bool = True


@dataclass
class Last:
    """What was worked out from what was `known` last: the least and the most of each cell for some
    eyes, and whether examples were looked for."""

    known: bytes
    ends: dict[int, tuple[np.ndarray, np.ndarray]] = field(default_factory=dict)
    looked: bool = False


@dataclass
class Audit:
    """The cells of a release, and the least group that may be shown:
    what is known of them is asked of it."""

    cells: Cells
    min_cell: int
    examples: list[np.ndarray] = field(default_factory=list, compare=False, repr=False)
    last: Last | None = field(default=None, compare=False, repr=False)

    @cached_property
    def entries(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """For each entry of an equation its row, its cell and its sign."""
        entries = [
            (row, n, sign)
            for row, equation in enumerate(self.cells.equations)
            for n, sign in sorted(equation)
        ]
        row, cell, sign = np.array(entries, dtype=int).reshape(-1, 3).T
        return row, cell, sign.astype(float)

    @cached_property
    def owned(self) -> np.ndarray:
        """How many people of each cell each site has sent, none where nobody can say:
        (cells, sites + 1), the last one being nobody's."""
        owned = np.array(self.cells.owned, dtype=float).reshape(len(self.cells.keys), -1)
        return np.column_stack([np.nan_to_num(owned), np.zeros(len(owned))])

    @cached_property
    def floor(self) -> np.ndarray:
        """What each cell must seem to be able to be."""
        floor = np.zeros(len(self.cells.keys))
        floor[list(self.cells.floor)] = list(self.cells.floor.values())
        return floor

    @cached_property
    def grows(self) -> np.ndarray:
        """Which cells count who came between two releases."""
        grows = np.zeros(len(self.cells.keys), dtype=bool)
        grows[list(self.cells.growth)] = True
        return grows

    @property
    def everybody(self) -> tuple[int, ...]:
        """The eyes of somebody who knows of no site, and of each site."""
        return EVERYBODY, *range(self.owned.shape[1] - 1)

    def carry(self, known: Known, eyes: int = EVERYBODY) -> tuple[np.ndarray, np.ndarray]:
        """Find the least and the greatest value of each cell by what is known.

        That is as far as single equations and single shares carry it; a site knows that its own are
        in a cell.

        Parameters
        ----------
        known
            What a release shows.
        eyes
            Number of a site, or EVERYBODY.

        Returns
        -------
        tuple of np.ndarray
            Least and most, (cells,) each.

        Raises
        ------
        Contradiction
            If no value is left.
        """
        last = self._remember(known)
        if eyes not in last.ends:
            last.ends[eyes] = self._carry(known, eyes)
        return last.ends[eyes]

    def _remember(self, known: Known) -> Last:
        key = known.bounds.tobytes() + known.list_shares().tobytes()
        if self.last is None or self.last.known != key:
            self.last = Last(key)
        return self.last

    def _carry(self, known: Known, eyes: int) -> tuple[np.ndarray, np.ndarray]:
        bounds = known.bounds
        least = np.where(self.grows, bounds[:, 0], np.maximum(bounds[:, 0], self.owned[:, eyes]))
        most = np.maximum(bounds[:, 1], least)
        row, cell, sign = self.entries
        rows = len(self.cells.equations)
        shares = known.list_shares()
        part, whole, *ends = shares[:, :4].T
        part, whole = part.astype(int), whole.astype(int)
        for _ in range(PASSES):
            low = np.where(sign > 0, least[cell], -most[cell])
            high = np.where(sign > 0, most[cell], -least[cell])
            below, above = (_add_others(side, row, rows) for side in (low, high))
            before = least.copy(), most.copy()
            np.maximum.at(least, cell, np.ceil(np.where(sign > 0, -above, below) - CLOSE))
            np.minimum.at(most, cell, np.floor(np.where(sign > 0, -below, above) + CLOSE))
            _carry_shares(least, most, part, whole, *ends)
            if (least > most).any():
                raise Contradiction
            if np.array_equal(least, before[0]) and np.array_equal(most, before[1]):
                narrow_by_limits(least, most, shares)
                if np.array_equal(least, before[0]) and np.array_equal(most, before[1]):
                    break
        return least, most

    def list_claims(self, eyes: int) -> Claims:
        """What must not be proved to `eyes`: that others are in a cell and fewer than may be shown,
        that as few have left it since an earlier release, or that a site is nearly all of it."""
        cells, owned, most_hidden = (
            np.arange(len(self.grows)),
            np.where(self.grows, 0, self.owned[:, eyes]),
            self.min_cell - 1,
        )
        left, floor = np.flatnonzero(self.grows), np.flatnonzero(self.floor)
        return Claims(
            np.concatenate([cells, left, floor]),
            np.concatenate(
                [owned + 1, np.full(len(left), -most_hidden), np.full(len(floor), -np.inf)]
            ),
            np.concatenate([owned + most_hidden, np.full(len(left), -1), self.floor[floor] - 1]),
        )

    def list_open(self, eyes: int, least: np.ndarray, most: np.ndarray) -> Claims:
        """The claims that are true, or may be, and that nothing has refuted or settled."""
        claims = self.list_claims(eyes)
        values = np.array(self.cells.values)[claims.cell]
        open_ = ~((values < claims.low) | (values > claims.high)) & (most > least)[claims.cell]
        for numbers in self.examples:
            if not ((numbers < least) | (numbers > most)).any():
                counts = numbers[claims.cell]
                open_ &= ~((counts < claims.low) | (counts > claims.high))
        return claims.take(open_)

    def find_remainders(self, least: np.ndarray, most: np.ndarray) -> np.ndarray:
        """In which equations the hidden parts of a sum are few together, all else in it being
        known: the number of people, else 0. Every equation has one whole, and nothing is left over
        where all of it is known."""
        row, cell, sign = self.entries
        rows = len(self.cells.equations)
        hidden = most[cell] > least[cell]
        whole_hidden = np.bincount(row, hidden & (sign < 0), minlength=rows) > 0
        known = np.where(hidden, 0, sign * np.nan_to_num(least[cell]))
        together = np.abs(np.bincount(row, known, minlength=rows))
        return np.where(~whole_hidden & (together < self.min_cell), together, 0)

    def find_quickly(self, known: Known, eyes: int = EVERYBODY) -> list[Exposed]:
        """What a release gives away by single equations."""
        least, most = self.carry(known, eyes)
        claims = self.list_claims(eyes)
        proved = np.unique(claims.take(claims.hold(least, most)).cell)
        exposures = {n: Exposed(n, least[n], most[n], eyes) for n in proved}
        if eyes != EVERYBODY:
            return list(exposures.values())
        row, cell, _ = self.entries
        together = self.find_remainders(least, most)
        for equation in np.flatnonzero(together):
            members = cell[(row == equation) & (most[cell] > least[cell])]
            exposures.setdefault(members.min(), Exposed(members.min(), 0, together[equation], eyes))
        return list(exposures.values())

    def find(self, known: Known, eyes: int = EVERYBODY, only: int | None = None) -> list[Exposed]:
        """What a release gives away by all equations together;
        `only` whether it gives away this cell."""
        last = self._remember(known)
        if only is None and not last.looked:
            self._look_for_examples(known)
            last.looked = True
        least, most = self.carry(known, eyes)
        claims = self.list_open(eyes, least, most)
        if only is not None:
            claims = claims.take(claims.cell == only)
        exposures = []
        for questions in self._part(least, most, claims):
            questions.answer()
            self._keep(questions, least, most)
            exposures += [
                Exposed(n, low, high, eyes, quickly=False) for n, low, high in questions.proved
            ]
        return sorted(exposures, key=lambda exposed: exposed.cell)

    def _look_for_examples(self, known: Known) -> None:
        """Find whole numbers that nobody can exclude, and that refute as many claims of all eyes as
        they may."""
        ends = [self.carry(known, eyes) for eyes in self.everybody]
        least, most = (
            np.max([low for low, _ in ends], axis=0),
            np.min([high for _, high in ends], axis=0),
        )
        of_each = [self.list_open(eyes, least, most) for eyes in self.everybody]
        claims = Claims(*(np.concatenate(each) for each in zip(*of_each, strict=True)))
        for questions in self._part(least, most, claims):
            questions.ask_together()
            self._keep(questions, least, most)

    def _part(self, least: np.ndarray, most: np.ndarray, claims: Claims) -> Iterator[Questions]:
        """Claims by the cells that hang together."""
        row, cell, sign = self.entries
        system = System(least, most, row, cell, sign, len(self.cells.equations))
        for members, rows in split_components(system) if len(claims.cell) else ():
            inside = np.isin(claims.cell, members)
            if inside.any():
                yield Questions(Program(system, members, rows), claims.take(inside))

    def _keep(self, questions: Questions, least: np.ndarray, most: np.ndarray) -> None:
        """Keep whole numbers of some cells beside what is known; of all others nothing,
        since they have no part in the same equations."""
        known = np.where(most > least, np.nan, least)
        for example in questions.examples:
            numbers = known.copy()
            numbers[questions.program.members] = example
            self.examples.append(numbers)


def _carry_shares(
    least: np.ndarray,
    most: np.ndarray,
    part: np.ndarray,
    whole: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
) -> None:
    """Narrow each part by its whole, and each whole by its part, in place."""
    with np.errstate(divide="ignore", invalid="ignore"):
        np.maximum.at(least, part, np.ceil(np.nan_to_num(low * least[whole]) - CLOSE))
        np.minimum.at(
            most,
            part,
            np.floor(np.where(np.isfinite(most[whole]), high * most[whole], np.inf) + CLOSE),
        )
        np.maximum.at(least, whole, np.where(high > 0, np.ceil(least[part] / high - CLOSE), 0))
        np.minimum.at(most, whole, np.where(low > 0, np.floor(most[part] / low + CLOSE), np.inf))


def _add_others(side: np.ndarray, row: np.ndarray, rows: int) -> np.ndarray:
    """For each entry the sum of the other entries of its row,
    where an infinite one outweighs all."""
    finite = np.isfinite(side)
    total = np.bincount(row, np.where(finite, side, 0), minlength=rows)
    endless = np.bincount(row, ~finite, minlength=rows)
    infinite = np.zeros(rows)
    infinite[row[~finite]] = side[~finite]
    others = total[row] - np.where(finite, side, 0)
    return np.where(endless[row] - ~finite > 0, infinite[row], others)
