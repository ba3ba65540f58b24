"""The ledger of releases: what each has shown, so that no later one gives away what an earlier one
hid, or who came between them.

An entry is a folder that is written once and never changed, called by its number and by what it
holds: the estimates as they were released, what they were made from, and every cell with what the
release showed of it and what it was. The ledger knows what is hidden, so it stays where the
unreleased estimates are. A release that has been made before is no new one.
"""

import hashlib
import json
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.disclosure.cells import Cells

SYSTEM, MADE_FROM, ESTIMATES = "cells.json", "made_from.csv", "estimates"


@dataclass(frozen=True)
class Entry:
    """One earlier release.

    Attributes
    ----------
    number
        1 for the first release.
    source
        Fingerprint of what the analyses stated.
    folder
        Where it is kept.
    names
        Of its cells, in words.
    bounds
        The least and the most that each could be by what it showed, (cells, 2).
    values
        What they were, (cells,); nan where nobody can say.
    owned
        By site, one dict a cell.
    equations
        Pairs of the number of a cell and a sign.
    """

    number: int
    source: str
    folder: Path
    names: list[str]
    bounds: np.ndarray
    values: np.ndarray
    owned: list[dict[str, float]]
    equations: list[list[tuple[int, int]]]

    @property
    def content(self) -> str:
        """The fingerprint of the released estimates."""
        return self.folder.name.partition("_")[2]


def read_ledger(folder: Path) -> list[Entry]:
    """The entries of a ledger in the order in which they were made;
    none if there is no ledger yet."""
    return [_read_entry(path) for path in sorted(folder.glob("[0-9]*_*"))]


def find_before(ledger: Path, number: int) -> Path | None:
    """The entry of the release before that of a number, None if there is none."""
    numbers = {int(path.name.partition("_")[0]): path for path in ledger.glob("[0-9]*_*")}
    earlier = [each for each in numbers if each < number]
    return numbers[max(earlier)] if earlier else None


def read_made_from(folder: Path) -> dict[str, str]:
    """What the release of an entry was made from, by name, with its number."""
    made_from = pd.read_csv(folder / MADE_FROM, dtype="string").set_index("name")["value"]
    return {"release": str(int(folder.name.partition("_")[0])), **made_from.to_dict()}


def _read_entry(folder: Path) -> Entry:
    record = json.loads((folder / SYSTEM).read_text("utf-8"))
    names, least, most, values, owned = ([cell[k] for cell in record["cells"]] for k in range(5))
    bounds = np.column_stack(
        [np.array(least, dtype=float), [np.inf if end is None else end for end in most]]
    )
    return Entry(
        int(folder.name.partition("_")[0]),
        record["source"],
        folder,
        names,
        bounds.reshape(-1, 2),
        np.array([np.nan if value is None else value for value in values], dtype=float),
        owned,
        [[(n, sign) for n, sign in equation] for equation in record["equations"]],
    )


def write_entry(
    ledger: Path,
    number: int,
    source: str,
    files: Mapping[str, pd.DataFrame],
    made_from: pd.DataFrame,
    cells: Cells,
    bounds: np.ndarray,
    sites: tuple[str, ...],
) -> Path:
    """Add a release to the ledger.

    Parameters
    ----------
    ledger
        Its folder.
    number
        Of the release.
    source
        Fingerprint of what the analyses stated.
    files
        Released estimates by the name of their file.
    made_from
        What they were made from.
    cells, bounds
        Its cells, and the least and the most that each can be by what it shows, (cells, 2).
    sites
        Names of the sites in the order of `cells.owned`.

    Returns
    -------
    Path
        The folder that was written.
    """
    folder = ledger / f"{number:04d}_{fingerprint(files)}"
    building = folder.with_name(f"building_{folder.name}")
    shutil.rmtree(building, ignore_errors=True)
    (building / ESTIMATES).mkdir(parents=True)
    for name, rows in files.items():
        rows.to_csv(building / ESTIMATES / name, index=False)
    made_from.to_csv(building / MADE_FROM, index=False)
    (building / SYSTEM).write_text(
        json.dumps(_describe(source, cells, bounds, sites), separators=(",", ":")), "utf-8"
    )
    building.rename(folder)
    return folder


def _describe(source: str, cells: Cells, bounds: np.ndarray, sites: tuple[str, ...]) -> dict:
    """What an entry remembers."""
    kept = [n for n in range(len(cells.keys)) if n not in cells.past and n not in cells.growth]
    place = {n: k for k, n in enumerate(kept)}
    described = []
    for n in kept:
        by_site = {
            site: float(number)
            for site, number in zip(sites, cells.owned[n], strict=True)
            if number > 0
        }
        value = None if np.isnan(cells.values[n]) else cells.values[n]
        most = None if np.isinf(bounds[n, 1]) else float(bounds[n, 1])
        described.append([cells.keys[n].say(), float(bounds[n, 0]), most, value, by_site])
    equations = [
        [[place[n], sign] for n, sign in sorted(equation)]
        for equation in cells.equations
        if all(n in place for n, _ in equation)
    ]
    return {"source": source, "cells": described, "equations": equations}


def fingerprint(files: Mapping[str, pd.DataFrame]) -> str:
    """What tells one content from another: the same for the same tables, whatever their order."""
    digest = hashlib.sha256()
    for name, rows in sorted(files.items()):
        digest.update(f"{name}\n{rows.to_csv(index=False)}".encode())
    return digest.hexdigest()[:16]
