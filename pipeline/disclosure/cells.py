"""The counts of a release as unknowns: what somebody who has all its tables,
and knows how they are made, knows of each.

A cell is how many people are in a set, or in what is left of a set without another one. Whatever
states it, in any analysis, states the same cell. What a release shows of it is in
pipeline/disclosure/known.py, equations between cells in pipeline/disclosure/equations.py.
"""

from dataclasses import dataclass, field
from math import ceil
from typing import Protocol

import numpy as np
import pandas as pd

from pipeline.disclosure.people import BySite, Group
from pipeline.disclosure.protect import FLOW, LEDGER, WHOLE_SHARES, is_dominated
from schemas.columns import Frame
from schemas.estimate import Estimates
from schemas.study import Disclosure


@dataclass(frozen=True)
class Complement:
    """Those of a set who are in none of some others: of `whole`, without what `without` says."""

    whole: Group
    without: str

    def say(self) -> str:
        return f"{self.whole.say()}, without {self.without}"


class Key(Protocol):
    """Whom a cell counts: of this release a Group or a Complement, of earlier ones those of
    pipeline/disclosure/between.py."""

    def say(self) -> str: ...


@dataclass
class Cells:
    """The cells of a release in order.

    Attributes
    ----------
    sites
        Number of sites.
    keys, place
        Whom each cell counts, and the number of the cell of each key.
    values
        How many they are; nan where nobody can say.
    owned
        How many of them each site has sent, (sites,) each; nan where nobody can say.
    rows
        By cell the labels of the rows that state it, and how: as "episodes", as those "told" of, or
        as "others".
    equations
        Sums of cells with signs that are zero, with what they say.
    floor
        By cell a count that must seem possible.
    growth
        Cells that count who came between two releases.
    past
        What earlier releases showed of their cells: least and most.
    left
        Whether somebody has left between two releases.
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

    def add(self, key: Key, value: float = np.nan, owned: np.ndarray | None = None) -> int:
        """Add a cell, or find the equal one that is there.

        Parameters
        ----------
        key
            Whom it counts.
        value
            How many they are, where it is known; what was known before stays.
        owned
            How many of them each site has sent, (sites,); likewise.

        Returns
        -------
        int
            The number of the cell.
        """
        if key not in self.place:
            self.place[key] = len(self.keys)
            self.keys.append(key)
            self.values.append(np.nan)
            self.owned.append(np.full(self.sites, np.nan))
        number = self.place[key]
        if np.isnan(self.values[number]) and not np.isnan(value):
            self.values[number] = float(value)
        if owned is not None and np.isnan(self.owned[number]).any():
            self.owned[number] = owned
        return number

    def relate(self, whole: int, parts: list[int], description: str) -> None:
        """Say that `parts` add up to `whole`."""
        if parts and whole not in parts and len(set(parts)) == len(parts):
            self.equations.setdefault(
                frozenset([(whole, -1), *((part, 1) for part in parts)]), description
            )


def list_cells(
    estimates: Frame[Estimates], described: pd.Series, by_site: BySite, rule: Disclosure
) -> Cells:
    """List the cells that the rows of all analyses state, without equations.

    Parameters
    ----------
    estimates
        All rows before protection.
    described
        By label what each row is, by people.describe_rows.
    by_site
        How many of each site are behind the rows.
    rule
        From which share on one site is nearly all of a count.

    Returns
    -------
    Cells
        The cells; `floor` has those that are nearly all of one site, with how many they must seem
        to be able to be so that it would be one of several.
    """
    cells = Cells(len(by_site.sites))
    columns = [
        estimates[name] for name in ("analysis", "stratum", "estimate", "n_episodes", "n_events")
    ]
    for label, analysis, stratum, estimate, episodes, events in zip(
        estimates.index, *columns, strict=True
    ):
        what = described[label]
        if what is None or pd.isna(episodes):
            continue
        with_event = estimate if what.quantity.kind == "count" else events
        for counted, people, number in (
            ("episodes", what.episodes, episodes),
            ("told", what.events, with_event),
        ):
            if people is not None and pd.notna(number):
                part = counted == "told" and what.events != what.episodes
                owned = by_site.of(label, "events" if part else "episodes", float(number))
                n = cells.add(people, float(number), owned)
                cells.rows.setdefault(n, []).append((label, counted))
                if (
                    owned is not None
                    and analysis not in (LEDGER, FLOW)
                    and "site=" not in stratum
                    and is_dominated(owned, rule)
                ):
                    cells.floor[n] = ceil(owned.max() / rule.max_share)
        if what.quantity.kind in WHOLE_SHARES and what.events in cells.place:
            complement = cells.add(Complement(what.episodes, what.events.say()))
            cells.rows.setdefault(complement, []).append((label, "others"))
            whole, part = cells.place[what.episodes], cells.place[what.events]
            _infer_complement(cells, whole, part, complement)
            cells.relate(whole, [part, complement], "those with and without the event")
    return cells


def _infer_complement(cells: Cells, whole: int, part: int, complement: int) -> None:
    cells.add(
        cells.keys[complement],
        cells.values[whole] - cells.values[part],
        cells.owned[whole] - cells.owned[part],
    )
