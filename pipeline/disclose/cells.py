"""The counts of a release as unknowns and the equations between them: what somebody who has all tables can calculate with.

A cell is a count of people: how many episodes are behind a row, how many of them had the event, how many had not. Equal counts of one kind in
one stratum of an analysis are one cell, since who sees one sees the other. Equations are found, not declared, so that no analysis can forget
them: a part of the whole is divided by further variables; where the parts do not add up to it, what is missing is a cell of its own, for the
rest is a group of people too.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import ceil

import numpy as np
import pandas as pd

from pipeline.disclose.suppress import find_dominated
from schemas.study import Disclosure

TABLE = ["analysis", "population", "endpoint"]
KINDS = ("episodes", "events", "others")
NOT_DIVIDING = ("basis",)  # says how a value was defined, and divides nothing further
REST = "the parts without a row"
PUBLISHED = ("published",)  # results printed in papers: nobody of this pool


@dataclass(frozen=True)
class Cell:
    """One count: where it stands, in words, of which kind, its value, and what tells it from a count that is equal only now."""

    where: str
    kind: str
    value: int
    apart: str = ""


@dataclass
class Release:
    """The cells of a release, those that it shows, and equations: sums of cells, each with a sign, that are zero.

    `rows` are the labels of the estimates that state a cell, `tells` says of each estimate whether it gives its events away, and `wholes` are
    the cells of whole populations. `least_most` are the cells of which nearly all come from one site, each with the count that must still
    seem possible. Of an earlier release (pipeline/disclose/between.py): `past` are its cells, `change` how much each cell has grown
    since; their values are not known where they are hidden.
    """

    cells: list[Cell] = field(default_factory=list)
    shown: set[int] = field(default_factory=set)
    equations: dict[frozenset, str] = field(default_factory=dict)
    rows: dict[int, list] = field(default_factory=dict)
    tells: pd.Series = field(default_factory=lambda: pd.Series(dtype=bool))
    wholes: set[int] = field(default_factory=set)
    least_most: dict[int, int] = field(default_factory=dict)
    past: set[int] = field(default_factory=set)
    change: set[int] = field(default_factory=set)
    _numbers: dict[Cell, int] = field(default_factory=dict)

    def add(self, cell: Cell) -> int:
        """The number of a cell, which is the same for an equal one."""
        if cell not in self._numbers:
            self._numbers[cell] = len(self.cells)
            self.cells.append(cell)
        return self._numbers[cell]

    def protect(self, number: int, most: int) -> None:
        """Say that a cell must seem to be able to be `most`: as large as it would have to be for its site to be no more than is allowed (the
        upper protection level of the dominance rule; Hundepool 2012, chapter 4, from memory)."""
        self.least_most[number] = max(most, self.least_most.get(number, 0))

    def append(self, cell: Cell) -> int:
        """The number of a cell that is like no other, even one that looks the same."""
        self.cells.append(cell)
        return len(self.cells) - 1

    def relate(self, whole: int, parts: list[int], said: str) -> None:
        """Say that `parts` add up to `whole`."""
        signed = frozenset([(whole, -1), *((part, 1) for part in parts)])
        self.equations.setdefault(signed, said)


def list_cells(
    estimates: pd.DataFrame, released: pd.DataFrame, rule: Disclosure, before: pd.DataFrame | None = None
) -> Release:
    """The cells of `estimates` (schemas.estimate.Estimates, all analyses, before protection), and which `released` (the same rows) shows.

    Counts that are equal now, but were not, or are not known to have been, in the release `before` (between.read_before) are cells of their own.
    """
    release = Release()
    rows = estimates[~estimates["population"].isin(PUBLISHED)]
    numbers, dominated = {kind: {} for kind in KINDS}, find_dominated(rows, rule)
    shows, release.tells = _find_shown(rows, released.loc[rows.index])
    told = shows["events"].groupby([rows[c] for c in (*TABLE, "term")], dropna=False).transform("any")
    for label, row in zip(rows.index, rows.to_dict("records"), strict=True):
        if pd.isna(row["n_episodes"]):
            continue
        where = f"{row['analysis']}, {row['population']}, {row['stratum']}"
        where += "" if pd.isna(row["endpoint"]) else f", {row['endpoint']}"
        counts = {"episodes": int(row["n_episodes"])}
        if (
            pd.notna(row["n_events"]) and told[label]
        ):  # where no stratum tells its events, there is nothing to calculate with
            counts["events"] = int(row["n_events"])
            counts["others"] = counts["episodes"] - counts["events"]
        found = {
            kind: release.add(Cell(where, kind, value, _tell_apart(before, label, kind, row)))
            for kind, value in counts.items()
            if value >= 0
        }
        for kind, number in found.items():
            if dominated[label] and kind in _find_counted(row["largest_share"], counts):
                release.protect(number, ceil(row["largest_share"] * counts[kind] / rule.max_share))
            numbers[kind][label] = number
            release.rows.setdefault(number, []).append(label)
            if shows[kind][label]:
                release.shown.add(number)
        if len(found) == len(KINDS):
            release.relate(
                found["episodes"], [found["events"], found["others"]], f"{where}: those with and without the event"
            )
    for kind in KINDS:
        _relate_parts(release, rows, numbers[kind], kind)
    _join_equals(release)
    return release


def _find_counted(share: float, counts: dict[str, int]) -> set[str]:
    """Of which group a share of the largest site is: episodes or events, whichever it is a whole number of; either if of both or none."""
    kinds = {kind for kind in ("episodes", "events") if kind in counts}
    return {kind for kind in kinds if np.isclose(share * counts[kind], round(share * counts[kind]))} or kinds


def _join_equals(release: Release) -> None:
    """Cells that are only kept apart for what they were before are all shown if one is, and hidden together."""
    groups: dict[tuple, list[int]] = {}
    for n in release.rows:
        cell = release.cells[n]
        groups.setdefault((cell.where, cell.kind, cell.value), []).append(n)
    for group in (group for group in groups.values() if len(group) > 1):
        rows = {n: release.rows[n] for n in group}
        if release.shown.intersection(group):
            release.shown.update(group)
        for n in group:
            release.rows[n] = rows[n] + [label for other in group if other != n for label in rows[other]]


def _tell_apart(before: pd.DataFrame | None, label: object, kind: str, row: dict) -> str:
    if before is None:
        return ""
    past = before.at[label, kind]
    return f"{row['term']}, {row['comparison']}" if pd.isna(past) else f"{past:.0f}"


def _find_shown(rows: pd.DataFrame, released: pd.DataFrame) -> tuple[dict[str, pd.Series], pd.Series]:
    """For each kind of count whether a row shows it, as a number or by its estimate, and whether its estimate would tell how many had the event:
    a share of a known number does."""
    share = tells_events(rows)
    estimate, episodes = released["estimate"].notna(), released["n_episodes"].notna()
    count = rows["estimate"].eq(rows["n_episodes"]).fillna(False)
    episodes = episodes | (estimate & count)
    events = released["n_events"].notna() | (estimate & episodes & share)
    return {"episodes": episodes, "events": events, "others": episodes & events}, share


def tells_events(rows: pd.DataFrame) -> pd.Series:
    """Whether the estimate of each row would tell how many had the event: it is their share."""
    product = rows["estimate"].astype(float) * rows["n_episodes"].astype(float)
    return pd.Series(np.isclose(product, rows["n_events"].astype(float), atol=0.01), index=rows.index)


def _relate_parts(release: Release, rows: pd.DataFrame, numbers: dict, kind: str) -> None:
    """Every equation between a stratum and a division of it, for each term of each table."""
    known = rows.loc[list(numbers)]
    for table, term_rows in known.groupby([*TABLE, "term", "comparison"], dropna=False, sort=True):
        strata = dict(zip(term_rows["stratum"], term_rows.index, strict=True))
        for whole, parts in _list_divisions(list(strata)):
            parent = numbers[strata[whole]]
            if whole == "all" and kind == "episodes":
                release.wholes.add(parent)
            members = [numbers[strata[part]] for part in parts]
            left = release.cells[parent].value - sum(release.cells[member].value for member in members)
            said = f"{table[0]}, {table[3]}: {whole} and its parts by {', '.join(_name_variables(parts[0]))}"
            if left > 0 and members:
                members.append(release.add(Cell(f"{said}, {REST}", kind, int(left))))
            if left >= 0 and len(set(members)) == len(members) and parent not in members:
                release.relate(parent, members, said)


def _list_divisions(strata: list[str]) -> Iterator[tuple[str, list[str]]]:
    """Each stratum with the strata that divide it by the same further variables."""
    values = {stratum: _split(stratum) for stratum in strata}
    for whole, fixed in values.items():
        divisions: dict[tuple, list[str]] = {}
        for stratum, own in values.items():
            further = tuple(v for v in own if v not in fixed and v not in NOT_DIVIDING)
            if further and all(own.get(v) == value for v, value in fixed.items()):
                divisions.setdefault(further, []).append(stratum)
        yield from ((whole, parts) for parts in divisions.values())


def _split(stratum: str) -> dict[str, str]:
    return dict(part.split("=", 1) for part in stratum.split(",") if "=" in part)


def _name_variables(stratum: str) -> list[str]:
    return [variable for variable in _split(stratum) if variable not in NOT_DIVIDING]
