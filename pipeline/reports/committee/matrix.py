"""Which first maneuver cleared which variant: variants down, families of maneuvers across."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import pandas as pd

from pipeline.reports.readings import ROUNDED, Reading, Readings, read_estimates
from pipeline.reports.wording import (
    HIDDEN,
    MARK_MISSING,
    begin_sentence,
    count_words,
    join_words,
    mark_missing,
    name_value,
    say_bound,
    say_episodes,
    show_share,
)
from schemas.strata import split_stratum
from schemas.study import Config

POPULATION = "positional, first session"
SHARES = ("first_test_negative", "pooled_first_test_negative")  # of own records, and pooled
POOLED = "†"
FEW = "few"
OTHERS = "Others"
MOST = 8  # families with a column of their own: as many as can be read on a page
CAUTION = (
    "Who got which maneuver was not left to chance (confounding): patients differ from column to "
    "column. Read along a row as a description, not as a contest."
)
SHORT_ARMS = (
    "“Short arm” means something else in each of its rows; those by nystagmus on sitting up are "
    "among those by findings on sitting up."
)


@dataclass(frozen=True)
class Cell:
    """What is known of one family of maneuvers in one variant.

    Attributes
    ----------
    own, pooled
        The share whose next test was negative: of the cell's own records, and pooled with other
        variants and families.
    needed
        How many further episodes an answer needs.
    days
        Median days from the first session to the next test.
    """

    own: Reading
    pooled: Reading
    needed: Reading
    days: Reading

    @property
    def share(self) -> Reading:
        """The cell's own share; where it has none the pooled one, and where that has none either a
        limit beyond which the own one lies, or the reason why it is missing."""
        return self.pooled if self.pooled.usable and not self.own.usable else self.own

    @property
    def told(self) -> bool:
        return self.share.usable or self.share.bounded

    def show(self) -> dict:
        """The `number`, the size `of` what it is of, and whether it is `told` at all."""
        share, size = self.share, self.own.n_episodes
        of = say_episodes(size) if self.told and size is not None else ""
        if share.usable:
            text = show_share(share)
            if share is self.pooled:
                number, limits, rest = text.partition(" (")
                text = f"{number}{POOLED}{limits}{rest}"
            return {"number": text, "of": of, "told": True}
        if share.bounded:
            return {"number": say_bound(share), "of": of, "told": True}
        if self.needed.usable:
            return _mark(f"{ROUNDED}{self.needed.number:,.0f} more")
        return _mark(FEW if share.status == "too_few" else mark_missing(share))


def _mark(words: str) -> dict:
    """A cell without a share."""
    return {"number": words, "of": "", "told": False}


@dataclass(frozen=True)
class Row:
    """One variant: its code and name, its cells by family, and why it has none, where it must have
    none."""

    code: str
    name: str
    cells: dict[str, Cell]
    without: str = ""


def read_first_choice(estimates: dict[str, pd.DataFrame], config: Config) -> list[Row]:
    """Read the cells of all variants of the plan that have any, in the order of the plan.

    Parameters
    ----------
    estimates
        Disclosed ones by analysis.
    config
        The plan.

    Returns
    -------
    list[Row]
        A variant that is named by the response to a maneuver has no cells but a reason.
    """
    readings = read_estimates(
        estimates, "first_choice", POPULATION, config.study.resolution.primary
    )
    families: dict[str, list[str]] = {}
    for stratum in readings.strata():
        parts = split_stratum(stratum)
        if "variant" in parts:
            families.setdefault(parts["variant"], []).extend(
                [parts["family"]] if "family" in parts else []
            )
    rows = []
    for variant in config.study.first_choice.variants:
        if variant not in families:
            continue
        cells = {
            family: _read_cell(readings, variant, family) for family in sorted(families[variant])
        }
        circular = config.study.variants[variant].is_circular
        name = begin_sentence(name_value("variant", variant, config))
        without = (
            (readings[f"variant={variant}", "first_test_negative"].note or "") if circular else ""
        )
        rows.append(Row(variant, name, {} if circular else cells, without))
    return rows


def _read_cell(readings: Readings, variant: str, family: str) -> Cell:
    terms = (*SHARES, "further_episodes_needed", "days_to_next_test")
    return Cell(*(readings[f"variant={variant},family={family}", term] for term in terms))


def tabulate_first_choice(rows: Sequence[Row], config: Config) -> dict | None:
    """Lay out the matrix.

    Parameters
    ----------
    rows
        As `read_first_choice` gives them.
    config
        The plan, which knows what maneuvers are called.

    Returns
    -------
    dict or None
        {columns, rows, caution, key}; a row is {key, name, cells, without}, a cell
        {number, of, told}.
        A family has a column of its own where any of its cells has a number, or a number of
        episodes needed; where that are more than MOST, those with the most of them. None where no
        family has.
    """
    known = dict.fromkeys(maneuver.family for maneuver in config.maneuvers.values())
    told = {
        family
        for row in rows
        for family, cell in row.cells.items()
        if cell.told or cell.needed.usable
    }
    if not told:
        return None
    columns = _choose_columns(rows, [family for family in known if family in told])
    rest = sorted({family for row in rows for family in row.cells} - set(columns))
    absent = _mark(MARK_MISSING["absent"])
    table = []
    for row in rows:
        cells = [row.cells[f].show() if f in row.cells else absent for f in columns]
        if rest:
            cells.append(_show_rest([row.cells[f] for f in rest if f in row.cells]))
        key = name_key(row.code)
        table.append({"key": key, "name": row.name, "cells": cells, "without": row.without})
    names = [begin_sentence(name_value("family", family, config)) for family in columns]
    return {
        "columns": names + ([OTHERS] if rest else []),
        "rows": table,
        "caution": f"{CAUTION} {_say_days(rows)}".strip(),
        "key": _say_key(table),
    }


def name_key(variant: str) -> str:
    """The name of a variant's part within the page."""
    return f"variant-{variant.replace('_', '-')}"


def _choose_columns(rows: Sequence[Row], families: list[str]) -> list[str]:
    """At most MOST of the families, those with a number in the most rows, in the order given."""
    found = {f: sum(f in row.cells and row.cells[f].told for row in rows) for f in families}
    most = sorted(families, key=lambda family: (-found[family], families.index(family)))[:MOST]
    return [family for family in families if family in most]


def _show_rest(cells: list[Cell]) -> dict:
    """All families without a column of their own in one cell: the marks that they have, and how
    many shares."""
    told = sum(cell.told for cell in cells)
    marks = dict.fromkeys(cell.show()["number"] for cell in cells if not cell.told)
    if told:
        marks = {count_words(told, "share"): None} | marks
    return _mark(", ".join(marks) if marks else MARK_MISSING["absent"])


def _say_key(table: Sequence[dict]) -> str:
    """What a number is, and each mark that the table has."""
    shown = " ".join(cell["number"] for row in table for cell in row["cells"])
    marks = {
        POOLED: f"{POOLED} pooled with other variants and maneuvers, the cell's own records "
        "telling too little",
        " more": f"{ROUNDED} and “more”: about so many further episodes are needed",
        FEW: f"{FEW}: too few for a number",
        MARK_MISSING["too_wide"]: f"{MARK_MISSING['too_wide']}: the interval tells nothing",
        HIDDEN: f"{HIDDEN} cannot be shown",
        MARK_MISSING["absent"]: f"{MARK_MISSING['absent']} not used",
    }
    key = [words for mark, words in marks.items() if mark in shown]
    first = "Share whose next test was negative, with its 95 % confidence interval"
    short = any(row["name"].startswith("Short arm") for row in table)
    return f"{'; '.join([first, *key])}.{f' {SHORT_ARMS}' if short else ''}"


def _say_days(rows: Sequence[Row]) -> str:
    """How far the median days to the next test differ between the cells with a number."""
    days = [
        cell.days.number
        for row in rows
        for cell in row.cells.values()
        if cell.told and cell.days.usable
    ]
    if not days or min(days) == max(days):
        return ""
    return (
        f"That test came on day {min(days):g} to {max(days):g} (medians of the cells): the later, "
        "the more have recovered by themselves."
    )


def say_first_choice(rows: Sequence[Row]) -> str:
    """For how many variants there is a share, and whether those of one row can be told apart.

    Parameters
    ----------
    rows
        As `read_first_choice` gives them.

    Returns
    -------
    str
        One sentence.
    """
    told = {row.name: [cell.share for cell in row.cells.values() if cell.told] for row in rows}
    shares = {name: found for name, found in told.items() if found}
    if not shares:
        return "Which maneuver clears which variant this pool cannot tell yet."
    rest = len(rows) - len(shares)
    clauses = [
        f"For {len(shares)} of {len(rows)} variants the pool has a share of patients whose next "
        "test was negative"
    ]
    several = {name: found for name, found in shares.items() if len(found) > 1}
    apart = [f"“{name}”" for name, found in several.items() if _has_gap(found)]
    if apart:
        clauses.append(
            f"in the row{'s' * (len(apart) > 1)} {join_words(apart)} the confidence intervals of "
            "two maneuvers do not overlap, which does not show why"
        )
    elif several:
        clauses.append(
            "where a variant has shares of several maneuvers, their confidence intervals overlap"
        )
    if rest:
        clauses.append("for the others it cannot tell yet")
    return f"{'; '.join(clauses)}."


def _has_gap(shares: Sequence[Reading]) -> bool:
    """Whether the intervals of any two lie apart."""
    ends = [
        (0.0 if share.lower is None else share.lower, 1.0 if share.upper is None else share.upper)
        for share in shares
    ]
    return any(one[1] < two[0] or two[1] < one[0] for one, two in combinations(ends, 2))
