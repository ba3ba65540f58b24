"""Shares of the same people that add up to one: what is hidden of them follows from the others, as far as their last digits leave room."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.disclose.cells import Cells
from pipeline.disclose.rounding import ESTIMATE, find_half_steps
from schemas.identities import SHARE_SUMS
from schemas.quantities import compile_pattern

PLACE = ["analysis", "population", "endpoint", "stratum"]


@dataclass(frozen=True)
class ShareSum:
    """Rows whose shares add up to one, and the cell of the people whose shares they are."""

    labels: tuple
    whole: int


def list_share_sums(cells: Cells, rows: pd.DataFrame, described: pd.Series) -> list[ShareSum]:
    """All sums of which every part has a row."""
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
            ShareSum(tuple(labels), cells.place[described[labels[0]].episodes])
            for labels in found.values()
            if len(labels) == len(patterns) and described[labels[0]].episodes in cells.place
        ]
    return sums


def find_exposed_shares(
    sums: list[ShareSum], released: pd.DataFrame, least: np.ndarray, most: np.ndarray, min_cell: int
) -> list[object]:
    """For each sum that tells that a hidden share stands for a small group, the label of one more share to hide: the smallest that is shown.

    `least` and `most` are how many people each cell can be.
    """
    chosen = []
    for each in sums:
        rows = released.loc[list(each.labels)]
        low, high = _read_shares(rows)
        shown = rows["status"].eq("ok").to_numpy(bool)
        for k in np.flatnonzero(~shown):
            few = (max(low[k], 1 - (high.sum() - high[k]))) * least[each.whole]
            many = (min(high[k], 1 - (low.sum() - low[k]))) * most[each.whole]
            if few >= 0.5 and many < min_cell - 0.5 and shown.any():
                chosen.append(rows.index[shown][np.argmin(rows["estimate"][shown].to_numpy(float))])
                break
    return chosen


def _read_shares(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """The least and the greatest that each share can have been before it was rounded or hidden."""
    shares = rows["estimate"].to_numpy(float, na_value=np.nan)
    coarse = rows["rounded"].str.contains(ESTIMATE).fillna(False).to_numpy(bool)
    half = find_half_steps(shares, coarse)
    status = rows["status"].to_numpy(str)
    lower, upper = (rows[end].to_numpy(float, na_value=np.nan) for end in ("lower", "upper"))
    bounded = status == "bounded"
    low = np.where(status == "ok", shares - half, np.where(bounded & ~np.isnan(lower), lower, 0.0))
    high = np.where(status == "ok", shares + half, np.where(bounded & ~np.isnan(upper), upper, 1.0))
    return np.clip(low, 0, 1), np.clip(high, 0, 1)
