"""All releases together: what somebody who has kept every one can calculate with.

The cells of each earlier release are known as far as it showed them. Those of a later one are those
of an earlier one and the newcomers, and whatever adds up in both adds up for the newcomers too: so
a sum may give a small group of them away although each of its cells has changed by nobody or by
enough. Sets are the same people later and earlier if they are called alike; single sites are not,
since their letters change.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.ledger import Entry


@dataclass(frozen=True)
class Before:
    """The people of a set as an earlier release counted them."""

    name: str
    release: int

    def say(self) -> str:
        return f"{self.name}, in release {self.release}"


@dataclass(frozen=True)
class Newcomers:
    """Who came to a set between two releases; 0 is the one that is being made."""

    name: str
    since: int
    until: int = 0

    def say(self) -> str:
        until = f" and {self.until}" if self.until else ""
        return (
            f"{self.name}, who came {'between releases' if self.until else 'since release'} "
            f"{self.since}{until}"
        )


def add_releases(cells: Cells, entries: Sequence[Entry], sites: tuple[str, ...]) -> None:
    """Add earlier releases, and who came between any two, to the cells of this one.

    Parameters
    ----------
    cells
        The cells of this release with their equations; changed in place.
    entries
        The earlier releases of the ledger.
    sites
        Names of the sites in the order of `cells.owned`.
    """
    now = {key.say(): n for n, key in enumerate(cells.keys)}
    equations = list(cells.equations.items())
    latest: dict[str, tuple[int, int]] = {}
    for entry in entries:
        by_site = [np.array([owned.get(site, 0.0) for site in sites]) for owned in entry.owned]
        place = [
            cells.add(Before(name, entry.number), value, counts)
            for name, value, counts in zip(entry.names, entry.values, by_site, strict=True)
        ]
        cells.past |= {n: tuple(bounds) for n, bounds in zip(place, entry.bounds, strict=True)}
        for released in entry.equations:
            cells.equations.setdefault(
                frozenset((place[n], sign) for n, sign in released), f"release {entry.number}"
            )
        then = dict(zip(entry.names, place, strict=True))
        grown = {
            name: _add_newcomers(cells, name, then[name], now[name], entry.number)
            for name in then
            if name in now
        }
        for name, n in then.items():
            if name in latest:
                _add_newcomers(cells, name, latest[name][1], n, latest[name][0], entry.number)
            latest[name] = entry.number, n
        known = {
            frozenset((entry.names[n], sign) for n, sign in released)
            for released in entry.equations
        }
        for equation, description in equations:
            named = frozenset((cells.keys[n].say(), sign) for n, sign in equation)
            if named in known and all(name in grown for name, _ in named):
                growing = frozenset((grown[name], sign) for name, sign in named)
                cells.equations.setdefault(growing, f"{description}, since release {entry.number}")
    if any(cells.values[n] < 0 for n in cells.growth):
        cells.left = True


def _add_newcomers(
    cells: Cells, name: str, before: int, after: int, since: int, until: int = 0
) -> int:
    value = cells.values[after] - cells.values[before]
    n = cells.add(Newcomers(name, since, until), value, cells.owned[after] - cells.owned[before])
    cells.growth.add(n)
    cells.relate(after, [before, n], f"{name}: then, and who came")
    return n
