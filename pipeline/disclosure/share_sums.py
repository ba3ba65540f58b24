"""Shares of the same people: what is hidden of them follows from the others,
as far as their last digits leave room.

The audit knows of each count by itself at least and at most how many it is. Shares of one group
know more: whatever its size is, it is the same for all of them. So each equation between counts
that are shares of one group is asked once more, for every size that the group can have.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.protect import WHOLE_SHARES
from pipeline.disclosure.rounding import find_half_steps, is_coarse
from schemas.identities import SHARE_SUMS
from schemas.quantities import compile_pattern

PLACE = ["analysis", "population", "endpoint", "stratum"]
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


def find_exposed_shares(
    sums: list[ShareSum],
    released: pd.DataFrame,
    least: np.ndarray,
    most: np.ndarray,
    owned: np.ndarray,
    min_cell: int,
) -> list[object]:
    """Find the shares by which a hidden part, or all hidden ones together, are known to be few.

    Parameters
    ----------
    sums
        Sums by `list_share_sums`.
    released
        The rows as they would leave.
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
    shares = dict(zip(released.index, zip(*_read_shares(released), strict=True), strict=True))
    chosen: list[object] = []
    for each in sums:
        shown = np.array([any(shares[label][2] for label in part.labels) for part in each.parts])
        hidden = np.flatnonzero(~shown & np.array([part.cell != each.whole for part in each.parts]))
        sizes = _list_sizes(least[each.whole], most[each.whole])
        if not len(hidden) or not shown.any() or sizes is None:
            continue
        low, high = _count_parts(each, shares, least, most, sizes)
        signs = np.array([part.sign for part in each.parts])
        known = np.array([0 if part.cell is None else owned[part.cell] for part in each.parts])
        together = [hidden] if len(set(signs[hidden])) == 1 else []
        if any(
            _is_small(group, low, high, signs, known, min_cell)
            for group in [*hidden[:, None], *together]
        ):
            middle = np.where(shown, (low + high).sum(axis=1), np.inf)
            chosen += [
                label for label in each.parts[int(np.argmin(middle))].labels if shares[label][2]
            ]
    return list(dict.fromkeys(chosen))


def _list_sizes(least: float, most: float) -> np.ndarray | None:
    """How many people a group can be; None if that can be nearly anything."""
    return np.arange(np.ceil(least), most + 1) if least > 0 and most - least < MOST_SIZES else None


def _count_parts(
    each: ShareSum, shares: Mapping, least: np.ndarray, most: np.ndarray, sizes: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The least and the greatest number of people of each part for each size of the whole:
    (parts, sizes)."""
    low, high = np.zeros((2, len(each.parts), len(sizes)))
    for k, part in enumerate(each.parts):
        ends = [(shares[label][0], shares[label][1]) for label in part.labels] or [(0.0, 1.0)]
        if part.cell == each.whole:
            ends = [(1.0, 1.0)]
        low[k], high[k] = max(end[0] for end in ends) * sizes, min(end[1] for end in ends) * sizes
        if part.cell is not None:  # an estimated share is of no whole number of people
            low[k], high[k] = np.ceil(low[k] - CLOSE), np.floor(high[k] + CLOSE)
        if part.cell is not None and part.cell != each.whole:
            low[k], high[k] = (
                np.maximum(low[k], least[part.cell]),
                np.minimum(high[k], most[part.cell]),
            )
    return low, high


def _is_small(
    group: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
    signs: np.ndarray,
    owned: np.ndarray,
    min_cell: int,
) -> bool:
    """Whether some parts of one sign together are somebody else, and fewer than may be shown,
    whatever the size of the whole is."""
    others = np.ones(len(signs), bool)
    others[group] = False
    turned = (-signs[group[0]] * signs[others])[:, None]
    fewest = np.maximum(
        low[group].sum(axis=0), np.where(turned > 0, low[others], -high[others]).sum(axis=0)
    )
    largest = np.minimum(
        high[group].sum(axis=0), np.where(turned > 0, high[others], -low[others]).sum(axis=0)
    )
    fits = (fewest <= largest) & (low <= high).all(axis=0)
    if not fits.any():
        return False
    fewest, largest = (
        fewest[fits].min() - owned[group].sum(),
        largest[fits].max() - owned[group].sum(),
    )
    return bool(fewest >= HALF and largest < min_cell - HALF)


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
