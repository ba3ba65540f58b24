"""Shares of the same people: what is hidden of them follows from the others,
as far as their last digits leave room.

The audit knows of each count by itself at least and at most how many it is. Shares of one group
know more: whatever its size is, it is the same for all of them. So each equation between counts
that are shares of one group is asked once more, for every size that the group can have.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.people import PLACE
from pipeline.disclosure.protect import WHOLE_SHARES
from pipeline.disclosure.rounding import find_half_steps, is_coarse
from schemas.identities import SHARE_SUMS
from schemas.quantities import compile_pattern

MOST_SIZES = 200  # of a group of which next to nothing is known, no share tells a small part
CLOSE, HALF = 1e-9, 0.5


@dataclass(frozen=True)
class Part:
    """One member of an equation with its sign: the labels of the rows that state its share,
    and its cell if it is counted too."""

    labels: tuple
    cell: int | None = None
    sign: int = 1


@dataclass(frozen=True)
class ShareSum:
    """Parts that add up to nobody with their signs, and the cell of the people whose shares they
    are; it can be a part itself."""

    parts: tuple[Part, ...]
    whole: int


def list_share_sums(cells: Cells, rows: pd.DataFrame, described: pd.Series) -> list[ShareSum]:
    """All declared sums of which every part has a row, and all equations of counts of which several
    are given as shares of one group."""
    return [*_list_declared(cells, rows, described), *_list_counted(cells, described)]


def _list_declared(cells: Cells, rows: pd.DataFrame, described: pd.Series) -> list[ShareSum]:
    sums = []
    for declared in SHARE_SUMS:
        patterns = [compile_pattern(term) for term in declared.terms]
        stated = rows[rows["analysis"].eq(declared.analysis)]
        labels_of: dict[tuple, list] = {}
        for label, row in zip(stated.index, stated.to_dict("records"), strict=True):
            match = next(
                filter(None, (pattern.fullmatch(row["term"]) for pattern in patterns)), None
            )
            if match:
                labels_of.setdefault(
                    (*(str(row[name]) for name in PLACE), *match.groups()), []
                ).append(label)
        for labels in labels_of.values():
            if len(labels) == len(patterns) and described[labels[0]].episodes in cells.place:
                whole = cells.place[described[labels[0]].episodes]
                parts = (*(Part((label,)) for label in labels), Part((), whole, -1))
                sums.append(ShareSum(parts, whole))
    return sums


def _list_counted(cells: Cells, described: pd.Series) -> list[ShareSum]:
    stated: dict[int, dict[int, list]] = {}  # by cell, of which cells its share is given, and where
    for label, what in described.items():
        if (
            what is not None
            and what.quantity.kind in WHOLE_SHARES
            and {what.events, what.episodes} <= cells.place.keys()
        ):
            by_whole = stated.setdefault(cells.place[what.events], {})
            by_whole.setdefault(cells.place[what.episodes], []).append(label)
    sums = []
    for equation in cells.equations:
        members = sorted(equation)
        for whole in sorted({whole for n, _ in members for whole in stated.get(n, ())}):
            parts = tuple(
                Part(tuple(stated.get(n, {}).get(whole, ())), n, sign) for n, sign in members
            )
            if (
                sum(bool(part.labels) or part.cell == whole for part in parts) > 1
                and len(parts) > 2
            ):
                sums.append(ShareSum(parts, whole))
    return sums


@dataclass(frozen=True)
class OpenSum:
    """A sum of which a release shows some shares and hides others.

    Attributes
    ----------
    stated
        The sum.
    low, high
        The least and the greatest share of each part, (parts,).
    cells
        The cell of each part; -1 if it is not counted.
    signs
        The sign of each part.
    shown
        Whether the share of each part is shown.
    hidden
        Which parts are hidden, by number; the whole is none.
    labels
        Of each part the rows that show its share.
    """

    stated: ShareSum
    low: np.ndarray
    high: np.ndarray
    cells: np.ndarray
    signs: np.ndarray
    shown: np.ndarray
    hidden: np.ndarray
    labels: tuple[list, ...]


def list_open_sums(sums: list[ShareSum], released: pd.DataFrame) -> list[OpenSum]:
    """The sums (by `list_share_sums`) that rows, as they would leave, show and hide parts of."""
    shares = dict(zip(released.index, zip(*_read_shares(released), strict=True), strict=True))
    opened = []
    for each in sums:
        labels = tuple([label for label in part.labels if shares[label][2]] for part in each.parts)
        shown = np.array([bool(of_part) for of_part in labels])
        is_whole = np.array([part.cell == each.whole for part in each.parts])
        hidden = np.flatnonzero(~shown & ~is_whole)
        if len(hidden) and shown.any():
            low, high = (
                np.array(
                    [
                        end([shares[label][k] for label in part.labels] or [k])
                        for part in each.parts
                    ],
                    dtype=float,
                )
                for k, end in enumerate((max, min))
            )
            low[is_whole] = high[is_whole] = 1
            cells = np.array([-1 if part.cell is None else part.cell for part in each.parts])
            signs = np.array([part.sign for part in each.parts])
            opened.append(OpenSum(each, low, high, cells, signs, shown, hidden, labels))
    return opened


def find_exposed_shares(
    sums: list[OpenSum], least: np.ndarray, most: np.ndarray, owned: np.ndarray, min_cell: int
) -> list[object]:
    """Find the shares by which a hidden part, or all hidden ones together, are known to be few.

    Parameters
    ----------
    sums
        Sums by `list_open_sums`.
    least, most
        How many people each cell can be, (cells,).
    owned
        How many of them are those of whoever looks, (cells,).
    min_cell
        The least group that may be shown.

    Returns
    -------
    list
        Labels of rows: for each sum that tells too much those of one more share to coarsen or to
        hide, the smallest that is shown.
    """
    chosen: list[object] = []
    for each in sums:
        sizes = _list_sizes(least[each.stated.whole], most[each.stated.whole])
        if sizes is None:
            continue
        low, high = _count_parts(each, least, most, sizes)
        fewest, largest = _bound_hidden(each, low, high)
        own = np.where(each.cells < 0, 0, owned[each.cells])[each.hidden]
        if len(each.hidden) > 1 and len(set(each.signs[each.hidden])) == 1:
            fewest, largest = (
                np.vstack([ends, together])
                for ends, together in zip(
                    (fewest, largest), _bound_together(each, low, high), strict=True
                )
            )
            own = np.append(own, own.sum())
        if _are_few(fewest, largest, (low <= high).all(axis=0), own, min_cell).any():
            middle = np.where(each.shown, (low + high).sum(axis=1), np.inf)
            chosen += each.labels[int(np.argmin(middle))]
    return list(dict.fromkeys(chosen))


def _list_sizes(least: float, most: float) -> np.ndarray | None:
    """How many people a group can be; None if that can be nearly anything."""
    return np.arange(np.ceil(least), most + 1) if least > 0 and most - least < MOST_SIZES else None


def _count_parts(
    each: OpenSum, least: np.ndarray, most: np.ndarray, sizes: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The least and the greatest number of people of each part for each size of the whole:
    (parts, sizes)."""
    low, high = each.low[:, None] * sizes, each.high[:, None] * sizes
    counted = each.cells >= 0  # an estimated share is of no whole number of people
    low[counted], high[counted] = np.ceil(low[counted] - CLOSE), np.floor(high[counted] + CLOSE)
    known = counted & (each.cells != each.stated.whole)
    cells = each.cells[known]
    low[known] = np.maximum(low[known], least[cells, None])
    high[known] = np.minimum(high[known], most[cells, None])
    return low, high


def _bound_hidden(
    each: OpenSum, low: np.ndarray, high: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The least and the greatest number of people of each hidden part, all others being in their
    bounds: (hidden, sizes)."""
    plus = each.signs[:, None] > 0
    of_plus, of_minus = (
        (np.where(others, low, -high).sum(axis=0), np.where(others, high, -low).sum(axis=0))
        for others in (~plus, plus)
    )
    part = each.hidden
    low, high, plus = low[part], high[part], plus[part]
    # of the sum over all parts its own term is taken away
    fewest = np.where(plus, of_plus[0], of_minus[0]) + high
    largest = np.where(plus, of_plus[1], of_minus[1]) + low
    return np.maximum(low, fewest), np.minimum(high, largest)


def _bound_together(
    each: OpenSum, low: np.ndarray, high: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The least and the greatest number of people of all hidden parts, which have one sign."""
    others = np.ones(len(each.signs), bool)
    others[each.hidden] = False
    turned = (-each.signs[each.hidden[0]] * each.signs[others])[:, None] > 0
    fewest = np.where(turned, low[others], -high[others]).sum(axis=0)
    largest = np.where(turned, high[others], -low[others]).sum(axis=0)
    return (
        np.maximum(low[each.hidden].sum(axis=0), fewest),
        np.minimum(high[each.hidden].sum(axis=0), largest),
    )


def _are_few(
    fewest: np.ndarray, largest: np.ndarray, possible: np.ndarray, owned: np.ndarray, min_cell: int
) -> np.ndarray:
    """Which groups are somebody else, and fewer than may be shown, whatever the size of the whole
    is: (groups,)."""
    fits = (fewest <= largest) & possible
    low = np.where(fits, fewest, np.inf).min(axis=1) - owned
    high = np.where(fits, largest, -np.inf).max(axis=1) - owned
    return fits.any(axis=1) & (low >= HALF) & (high < min_cell - HALF)


def _read_shares(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The least and the greatest that each share can have been before it was rounded or hidden,
    and whether it is shown."""
    shares = rows["estimate"].to_numpy(float, na_value=np.nan)
    half = find_half_steps(shares, is_coarse(rows))
    status = rows["status"].to_numpy(str)
    lower, upper = (rows[end].to_numpy(float, na_value=np.nan) for end in ("lower", "upper"))
    bounded, shown = status == "bounded", status == "ok"
    low = np.where(shown, shares - half, np.where(bounded & ~np.isnan(lower), lower, 0.0))
    high = np.where(shown, shares + half, np.where(bounded & ~np.isnan(upper), upper, 1.0))
    return np.clip(low, 0, 1), np.clip(high, 0, 1), shown
