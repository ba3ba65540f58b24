"""Shares of the same people that add up to one: what is hidden of them follows from the others, as far as their last digits leave room.

The audit knows of each count by itself at least and at most how many it is. Shares of one group know more: whatever its size is, it is the same for all.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.disclose.cells import Cells
from pipeline.disclose.protect import WHOLE_SHARES
from pipeline.disclose.rounding import find_half_steps, is_coarse
from schemas.identities import SHARE_SUMS
from schemas.quantities import compile_pattern

PLACE = ["analysis", "population", "endpoint", "stratum"]
SOMEBODY = 0.5  # fewer are nobody


@dataclass(frozen=True)
class Part:
    """One part of a whole: the labels of the rows that state its share, and its cell if it is counted too."""

    labels: tuple
    cell: int | None = None


@dataclass(frozen=True)
class ShareSum:
    """Parts whose shares add up to one, and the cell of the people whose shares they are."""

    parts: tuple[Part, ...]
    whole: int


def list_share_sums(cells: Cells, rows: pd.DataFrame, described: pd.Series) -> list[ShareSum]:
    """All sums of which every part has a row, and all groups that are divided into counted parts of which several have a share."""
    return [*_list_declared(cells, rows, described), *_list_divided(cells, described)]


def _list_declared(cells: Cells, rows: pd.DataFrame, described: pd.Series) -> list[ShareSum]:
    sums = []
    for declared in SHARE_SUMS:
        patterns = [compile_pattern(term) for term in declared.terms]
        here = rows[rows["analysis"].eq(declared.analysis)]
        found: dict[tuple, list] = {}
        for label, row in zip(here.index, here.to_dict("records"), strict=True):
            told = next(filter(None, (pattern.fullmatch(row["term"]) for pattern in patterns)), None)
            if told:
                found.setdefault((*(str(row[name]) for name in PLACE), *told.groups()), []).append(label)
        sums += [
            ShareSum(tuple(Part((label,)) for label in labels), cells.place[described[labels[0]].episodes])
            for labels in found.values()
            if len(labels) == len(patterns) and described[labels[0]].episodes in cells.place
        ]
    return sums


def _list_divided(cells: Cells, described: pd.Series) -> list[ShareSum]:
    stated: dict[tuple[int, int], list] = {}
    for label, what in described.items():
        if what is not None and what.quantity.kind in WHOLE_SHARES and {what.told, what.episodes} <= cells.place.keys():
            stated.setdefault((cells.place[what.told], cells.place[what.episodes]), []).append(label)
    sums = []
    for equation in cells.equations:
        wholes = [n for n, sign in equation if sign < 0]
        if len(wholes) != 1:
            continue
        parts = [Part(tuple(stated.get((n, wholes[0]), ())), n) for n, sign in sorted(equation) if sign > 0]
        if sum(bool(part.labels) for part in parts) > 1:
            sums.append(ShareSum(tuple(parts), wholes[0]))
    return sums


def find_exposed_shares(
    sums: list[ShareSum],
    released: pd.DataFrame,
    least: np.ndarray,
    most: np.ndarray,
    own: np.ndarray,
    min_cell: int,
) -> list[object]:
    """For each sum that tells that a hidden part, or all hidden ones together, are a small group, the labels of one more share to coarsen or to
    hide: the smallest that is shown.

    `least` and `most` are how many people each cell can be, `own` how many of them are those of whoever looks.
    """
    shares = dict(zip(released.index, zip(*_read_shares(released), strict=True), strict=True))
    chosen: list[object] = []
    for each in sums:
        shown = [any(shares[label][2] for label in part.labels) for part in each.parts]
        if all(shown) or not any(shown):
            continue
        ends = least[each.whole], most[each.whole]
        low, high = np.array([_bound_part(part, shares, least, most, ends) for part in each.parts]).T
        known = np.array([0 if part.cell is None else own[part.cell] for part in each.parts])
        hidden = np.flatnonzero(~np.array(shown))
        if any(_is_few(group, low, high, ends, known, min_cell) for group in [*hidden[:, None], hidden]):
            middle = np.where(shown, low + high, np.inf)
            chosen += [label for label in each.parts[int(np.argmin(middle))].labels if shares[label][2]]
    return list(dict.fromkeys(chosen))


def _bound_part(
    part: Part, shares: Mapping, least: np.ndarray, most: np.ndarray, whole: tuple[float, float]
) -> tuple[float, float]:
    """The least and the greatest share of a part, by its rows and by how many it can be."""
    low, high = 0.0, 1.0
    for label in part.labels:
        low, high = max(low, shares[label][0]), min(high, shares[label][1])
    if part.cell is not None:
        low = max(low, least[part.cell] / whole[1])
        high = min(high, most[part.cell] / whole[0]) if whole[0] > 0 else high
    return low, high


def _is_few(
    group: np.ndarray, low: np.ndarray, high: np.ndarray, whole: tuple[float, float], own: np.ndarray, min_cell: int
) -> bool:
    """Whether some parts together are somebody else, and fewer than may be shown."""
    others = np.delete(np.arange(len(low)), group)
    few = max(low[group].sum(), 1 - high[others].sum()) * whole[0]
    many = min(high[group].sum(), 1 - low[others].sum()) * whole[1]
    few, many = few - own[group].sum(), many - own[group].sum()
    return bool(few >= SOMEBODY and many < min_cell - SOMEBODY)


def _read_shares(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The least and the greatest that each share can have been before it was rounded or hidden, and whether it is shown."""
    shares = rows["estimate"].to_numpy(float, na_value=np.nan)
    half = find_half_steps(shares, is_coarse(rows))
    status = rows["status"].to_numpy(str)
    lower, upper = (rows[end].to_numpy(float, na_value=np.nan) for end in ("lower", "upper"))
    bounded, shown = status == "bounded", status == "ok"
    low = np.where(shown, shares - half, np.where(bounded & ~np.isnan(lower), lower, 0.0))
    high = np.where(shown, shares + half, np.where(bounded & ~np.isnan(upper), upper, 1.0))
    return np.clip(low, 0, 1), np.clip(high, 0, 1), shown
