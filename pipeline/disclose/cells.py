"""The counts of a release as unknowns: what somebody who has all its tables, and knows how they are made, knows of each.

A cell is how many people are in a set, or in what is left of a set without another one. Whatever states it, in any analysis, states the same
cell. What a release shows of it is an interval: one number where it is shown, the numbers that round to it where it is rounded, and what a
mark says where it is hidden. Equations between cells are in pipeline/disclose/equations.py.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import ceil, floor
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.disclose.people import BySite, Described, Group
from pipeline.disclose.protect import FLOW, LEDGER, WHOLE_SHARES, find_least, is_dominated
from pipeline.disclose.rounding import COUNTED, find_half_steps, list_rounded, unround_count
from schemas.quantities import SHARES
from schemas.study import Disclosure

MANY = np.inf
CLOSE = 1e-9
COLUMNS = ["status", "lower", *COUNTED, "rounded"]


@dataclass(frozen=True)
class Rest:
    """Those of a set who are in none of some others: of `whole`, without what `without` says."""

    whole: Group
    without: str

    def say(self) -> str:
        return f"{self.whole.say()}, without {self.without}"


Key = Group | Rest


@dataclass
class Cells:
    """The cells of a release in order: their `values` and how many of each every site has sent (`owned`), both nan where nobody can say, and
    the `equations`, sums of cells with signs that are zero, with what they say.

    `rows` are the labels of the rows that state a cell, and how: as "episodes", as those "told" of, or as "others". `floor` are counts that must seem possible. Of earlier releases: `past` is what they showed of their cells, `growth` are the cells that
    count who came between two, and `left` whether somebody has left.
    """

    sites: int
    keys: list[Key] = field(default_factory=list)
    place: dict[Key, int] = field(default_factory=dict)
    values: list[float] = field(default_factory=list)
    owned: list[np.ndarray] = field(default_factory=list)
    rows: dict[int, list[tuple[object, str]]] = field(default_factory=dict)
    equations: dict[frozenset[tuple[int, int]], str] = field(default_factory=dict)
    floor: dict[int, float] = field(default_factory=dict)
    growth: set[int] = field(default_factory=set)
    past: dict[int, tuple[float, float]] = field(default_factory=dict)
    left: bool = False

    def add(self, key: Key, value: float = np.nan, own: np.ndarray | None = None) -> int:
        """The number of a cell, which is the same for an equal one; what is known of its value and its sites is kept."""
        if key not in self.place:
            self.place[key] = len(self.keys)
            self.keys.append(key)
            self.values.append(np.nan)
            self.owned.append(np.full(self.sites, np.nan))
        number = self.place[key]
        if np.isnan(self.values[number]) and not np.isnan(value):
            self.values[number] = float(value)
        if own is not None and np.isnan(self.owned[number]).any():
            self.owned[number] = own
        return number

    def relate(self, whole: int, parts: list[int], said: str) -> None:
        """Say that `parts` add up to `whole`."""
        if parts and whole not in parts and len(set(parts)) == len(parts):
            self.equations.setdefault(frozenset([(whole, -1), *((part, 1) for part in parts)]), said)


def list_cells(estimates: pd.DataFrame, described: pd.Series, by_site: BySite, rule: Disclosure) -> Cells:
    """The cells that the rows of all analyses state (`estimates`, those before protection), without equations."""
    cells = Cells(len(by_site.sites))
    columns = [estimates[name] for name in ("analysis", "stratum", "estimate", "n_episodes", "n_events")]
    for label, analysis, stratum, estimate, episodes, events in zip(estimates.index, *columns, strict=True):
        what = described[label]
        if what is None or pd.isna(episodes):
            continue
        told = estimate if what.quantity.kind == "count" else events
        for counted, people, number in (("episodes", what.episodes, episodes), ("told", what.told, told)):
            if people is not None and pd.notna(number):
                part = counted == "told" and what.told != what.episodes
                own = by_site.of(label, "events" if part else "episodes", float(number))
                n = cells.add(people, float(number), own)
                cells.rows.setdefault(n, []).append((label, counted))
                if (
                    own is not None
                    and analysis not in (LEDGER, FLOW)
                    and "site=" not in stratum
                    and is_dominated(own, rule)
                ):
                    cells.floor[n] = ceil(own.max() / rule.max_share)
        if what.quantity.kind in WHOLE_SHARES and what.told in cells.place:
            rest = cells.add(Rest(what.episodes, what.told.say()))
            cells.rows.setdefault(rest, []).append((label, "others"))
            whole, part = cells.place[what.episodes], cells.place[what.told]
            _infer_rest(cells, whole, part, rest)
            cells.relate(whole, [part, rest], "those with and without the event")
    return cells


def _infer_rest(cells: Cells, whole: int, part: int, rest: int) -> None:
    cells.add(cells.keys[rest], cells.values[whole] - cells.values[part], cells.owned[whole] - cells.owned[part])


class Share(NamedTuple):
    """One cell (`part`) as a share of another one, at least and at most: 0 to 1."""

    part: int
    whole: int
    low: float
    high: float


@dataclass
class Known:
    """What a release shows: of each cell the least and the greatest number of people that it can be (`bounds`: cells, 2), and its `shares` by
    the label of their row and how it counts."""

    bounds: np.ndarray
    shares: dict[tuple[object, str], Share] = field(default_factory=dict)

    def copy(self) -> "Known":
        """One that can be changed alone."""
        return Known(self.bounds.copy(), dict(self.shares))

    def list_shares(self) -> np.ndarray:
        """The shares as numbers: (shares, 4), the members of Share."""
        return np.array(list(self.shares.values()), dtype=float).reshape(-1, 4)


def learn_known(cells: Cells, released: pd.DataFrame, described: pd.Series, rule: Disclosure) -> Known:
    """What a release shows of each cell. Rows that it has not show nothing."""
    known = Known(np.tile([0.0, MANY], (len(cells.keys), 1)))
    bounds = known.bounds
    shown = {label: Shown(*row) for label, *row in released[COLUMNS].itertuples(name=None)}
    narrow_known(cells, cells.rows, known, shown, described, rule)
    for n, shown_then in cells.past.items():
        bounds[n] = shown_then
    if cells.left:
        bounds[list(cells.growth), 0] = -MANY
    return known


def narrow_known(
    cells: Cells,
    numbers: Iterable[int],
    known: Known,
    shown: Mapping[object, "Shown"],
    described: pd.Series,
    rule: Disclosure,
) -> None:
    """Narrow what is `known` of some cells by the rows that are `shown`: first by counts, then by the shares of those counted."""
    bounds, shares = known.bounds, []
    for n in numbers:
        for label, counted in cells.rows.get(n, ()):
            known.shares.pop((label, counted), None)
            if label not in shown:
                continue
            if counted != "episodes" and described[label].quantity.kind in WHOLE_SHARES:
                shares.append((n, label, counted))
            else:
                _narrow(bounds, n, read_count(shown[label], described[label], counted, rule))
    for n, label, counted in shares:
        whole = cells.place[described[label].episodes]
        _narrow(bounds, n, read_share(shown[label], described[label], counted, bounds[whole], rule))
        if shown[label].status == "ok":
            known.shares[label, counted] = Share(n, whole, *read_ends(shown[label], counted))


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

    def count(self, column: str, rule: Disclosure) -> tuple[float, float]:
        """How many a column says there are: at least, and at most."""
        number = getattr(self, column)
        if pd.isna(number):
            return 0.0, MANY
        return unround_count(number, rule.round_counts) if column in list_rounded(self.rounded) else (number, number)


def read_count(row: Shown, what: Described, counted: str, rule: Disclosure) -> tuple[float, float]:
    """What a row says of how many it counts ("episodes"), or of how many are "told" of by a count."""
    kind, shown = what.quantity.kind, row.status == "ok"
    if counted == "told":
        if kind != "count":
            return (float(find_least(what, rule)), MANY) if shown else (0.0, MANY)
        if row.status == "bounded":
            return 0.0, rule.least_shown - 1.0
        least, most = row.count("estimate", rule) if shown else (0.0, MANY)
        return (max(least, rule.least_shown), most) if shown else (least, most)
    least, most = row.count("n_episodes", rule)
    if (shown or row.status == "bounded") and kind != "count":
        both = kind in SHARES and (
            row.status == "bounded" or row.estimate not in (0, 1)
        )  # those with the event, and those without
        least = max(least, rule.least_shown, 2 * find_least(what, rule) if both else 0)
    elif most < MANY:
        least = max(least, rule.least_shown)
    return float(least), float(most)


def read_share(row: Shown, what: Described, counted: str, whole: np.ndarray, rule: Disclosure) -> tuple[float, float]:
    """What a share says of how many have the event ("told") or have not ("others"), of a `whole` with these bounds."""
    few = 0.0, rule.least_shown - 1.0
    if row.status == "bounded":
        return few if (counted == "others") == pd.notna(row.lower) else (0.0, MANY)
    if row.status != "ok":
        return 0.0, MANY
    low, high = read_ends(row, counted)
    least = max(rule.least_shown, ceil(low * whole[0] - CLOSE))
    most = floor(high * whole[1] + CLOSE) if whole[1] < MANY else MANY
    if counted == "told" and pd.notna(row.n_events):
        events = row.count("n_events", rule)
        least, most = max(least, events[0]), min(most, events[1])
    return float(least), float(most)


def read_ends(row: Shown, counted: str) -> tuple[float, float]:
    """The least and the greatest share that a row can have had before it was rounded, of those "told" of or of the "others"."""
    coarse = "estimate" in list_rounded(row.rounded)
    half = float(find_half_steps(np.array([row.estimate], dtype=float), np.array([coarse]))[0])
    share = row.estimate if counted == "told" else 1 - row.estimate
    return max(share - half, 0.0), min(share + half, 1.0)
