"""What a release shows of each cell: one number, the numbers that round to it,
what a mark says where it is hidden; and shares of cells in others."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import ceil, floor
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.people import Described
from pipeline.disclosure.protect import WHOLE_SHARES, find_least
from pipeline.disclosure.rounding import COUNTED, find_half_steps, list_rounded, unround_count
from schemas.quantities import OF_SESSIONS, SHARES
from schemas.study import Disclosure

MANY = np.inf
CLOSE = 1e-9
COLUMNS = ["status", "lower", *COUNTED, "rounded", "upper"]


class Share(NamedTuple):
    """One cell as a share of another one.

    Attributes
    ----------
    part, whole
        Numbers of the cells.
    low, high
        The least and the greatest that the share can be.
    lower, upper
        The least that its lower limit and the greatest that its upper limit can be; 0 and 1 if
        unknown.
    """

    part: int
    whole: int
    low: float
    high: float
    lower: float
    upper: float


class Misread(Exception):
    """A quantity counts other people than those of whom it is declared."""


@dataclass
class Known:
    """What a release shows.

    Attributes
    ----------
    bounds
        The least and the greatest number of people that each cell can be, (cells, 2).
    shares
        Shares by the label of their row and how it counts.
    """

    bounds: np.ndarray
    shares: dict[tuple[object, str], Share] = field(default_factory=dict)

    def copy(self) -> "Known":
        """One that can be changed alone."""
        return Known(self.bounds.copy(), dict(self.shares))

    def list_shares(self) -> np.ndarray:
        """The shares as numbers: (shares, 6), the members of Share."""
        return np.array(list(self.shares.values()), dtype=float).reshape(-1, len(Share._fields))


def learn_known(
    cells: Cells, released: pd.DataFrame, described: pd.Series, rule: Disclosure
) -> Known:
    """What a release shows of each cell. Rows that it has not show nothing."""
    known = Known(np.tile([0.0, MANY], (len(cells.keys), 1)))
    bounds = known.bounds
    shown = read_shown(released)
    narrow_known(cells, cells.rows, known, shown, described, rule)
    for n, shown_then in cells.past.items():
        bounds[n] = shown_then
    if cells.left:
        bounds[list(cells.growth), 0] = -MANY
    return known


def read_shown(released: pd.DataFrame) -> dict[object, "Shown"]:
    """What may be read of each released row, by its label."""
    # as plain objects: looking into typed columns one by one takes most of an audit's time
    columns = [released[name].astype(object).to_numpy() for name in COLUMNS]
    return dict(zip(released.index, map(Shown, *columns), strict=True))


def check_known(cells: Cells, known: Known, described: pd.Series) -> None:
    """See that what a release is thought to show is so of every cell that its rows count.

    Raises
    ------
    Misread
        With the names of the first row of which it is not; people and numbers are left out.
    """
    for n, rows in cells.rows.items():
        least, most = known.bounds[n]
        if cells.values[n] < least or cells.values[n] > most:
            what = described[rows[0][0]].quantity
            raise Misread(f"“{what.term}” ({what.kind}) is declared of other people than it counts")


def narrow_known(
    cells: Cells,
    numbers: Iterable[int],
    known: Known,
    shown: Mapping[object, "Shown"],
    described: pd.Series,
    rule: Disclosure,
) -> None:
    """Narrow, in place, what is known of some cells: first by counts, then by the shares of those.

    Parameters
    ----------
    cells
        The cells of the release.
    numbers
        Those to narrow.
    known
        What is known; changed.
    shown
        By label what may be read of a row; rows that are missing show nothing.
    described
        By label what each row is.
    rule
        How counts are rounded, and the least that is shown.
    """
    bounds, shares = known.bounds, []
    what = described.to_dict()  # looking into the column one by one takes longer than all else
    for n in numbers:
        for label, counted in cells.rows.get(n, ()):
            known.shares.pop((label, counted), None)
            if label not in shown:
                continue
            if counted != "episodes" and what[label].quantity.kind in WHOLE_SHARES:
                shares.append((n, label, counted))
            else:
                _narrow(bounds, n, read_count(shown[label], what[label], counted, rule))
    for n, label, counted in shares:
        whole = cells.place[what[label].episodes]
        _narrow(bounds, n, read_share(shown[label], what[label], counted, bounds[whole], rule))
        if shown[label].status == "ok":
            ends = *read_ends(shown[label], counted), *read_limits(shown[label], counted)
            known.shares[label, counted] = Share(n, whole, *ends)


def _narrow(bounds: np.ndarray, n: int, known: tuple[float, float]) -> None:
    bounds[n] = max(bounds[n, 0], known[0]), min(bounds[n, 1], known[1])


class Shown(NamedTuple):
    """What of one released row may tell of people (its COLUMNS)."""

    status: str
    lower: float
    estimate: float
    n_episodes: float
    n_events: float
    rounded: object
    upper: float

    def bound_count(self, column: str, rule: Disclosure) -> tuple[float, float]:
        """How many a column says there are: at least, and at most."""
        number = getattr(self, column)
        if pd.isna(number):
            return 0.0, MANY
        return (
            unround_count(number, rule.round_counts)
            if column in list_rounded(self.rounded)
            else (number, number)
        )


def read_count(row: Shown, what: Described, counted: str, rule: Disclosure) -> tuple[float, float]:
    """Read how many a row says that it counts.

    Parameters
    ----------
    row
        What is shown.
    what
        What the row is.
    counted
        "episodes", or "told": those with the event.
    rule
        How counts are rounded, and the least that is shown.

    Returns
    -------
    tuple of float
        At least and at most.
    """
    kind, shown = what.quantity.kind, row.status == "ok"
    if counted == "told":
        if kind != "count":
            return (float(find_least(what, rule)), MANY) if shown else (0.0, MANY)
        if row.status == "bounded":
            return 0.0, rule.least_shown - 1.0
        least, most = row.bound_count("estimate", rule) if shown else (0.0, MANY)
        return (max(least, rule.least_shown), most) if shown else (least, most)
    least, most = row.bound_count("n_episodes", rule)
    if (shown or row.status == "bounded") and kind != "count":
        # those with the event, and those without; sessions of both kinds may be one person's
        both = (
            kind in SHARES
            and kind != OF_SESSIONS
            and (row.status == "bounded" or row.estimate not in (0, 1))
        )
        least = max(least, rule.least_shown, 2 * find_least(what, rule) if both else 0)
    elif most < MANY:
        least = max(least, rule.least_shown)
    return float(least), float(most)


def read_share(
    row: Shown, what: Described, counted: str, whole: np.ndarray, rule: Disclosure
) -> tuple[float, float]:
    """Read how many have the event, or have not, by a share.

    Parameters
    ----------
    row
        What is shown.
    what
        What the row is.
    counted
        "told": those with the event, or "others".
    whole
        How many people it is a share of, at least and at most.
    rule
        The least that is shown.

    Returns
    -------
    tuple of float
        At least and at most.
    """
    small = 0.0, rule.least_shown - 1.0
    if row.status == "bounded":
        return small if (counted == "others") == pd.notna(row.lower) else (0.0, MANY)
    if row.status != "ok":
        return 0.0, MANY
    low, high = read_ends(row, counted)
    least = max(rule.least_shown, ceil(low * whole[0] - CLOSE))
    most = floor(high * whole[1] + CLOSE) if whole[1] < MANY else MANY
    if counted == "told" and pd.notna(row.n_events):
        events = row.bound_count("n_events", rule)
        least, most = max(least, events[0]), min(most, events[1])
    return float(least), float(most)


def read_ends(row: Shown, counted: str) -> tuple[float, float]:
    """The least and the greatest share that a row can have had before it was rounded,
    of those "told" of or of the "others"."""
    coarse = "estimate" in list_rounded(row.rounded)
    half = float(find_half_steps(np.array([row.estimate], dtype=float), np.array([coarse]))[0])
    share = row.estimate if counted == "told" else 1 - row.estimate
    return max(share - half, 0.0), min(share + half, 1.0)


def read_limits(row: Shown, counted: str) -> tuple[float, float]:
    """The least that the lower limit of a share can have been before it was rounded,
    and the greatest that the upper one can; of "others" none."""
    if counted != "told" or pd.isna(row.lower) or pd.isna(row.upper):
        return 0.0, 1.0
    ends = np.array([row.lower, row.upper], dtype=float)
    low, high = ends + np.array([-1, 1]) * find_half_steps(ends, np.array([False, False]))
    return float(max(low, 0.0)), float(min(high, 1.0))
