"""What became of vertigo after each first maneuver as a table: as it is beside standardised."""

from typing import Any

import pandas as pd

from pipeline.reports.technical.pictures import SHARES, Mark, choose_scale, draw_marks
from pipeline.reports.technical.tables import make_table, say_status
from pipeline.reports.technical.terms import name_part, name_term, write_limits, write_number
from pipeline.reports.wording import begin_sentence, name_value
from schemas.declared import find_quantity
from schemas.strata import split_stratum
from schemas.study import Config

STANDARDISED = "standardised_"
COLUMNS = ["As they are", "As if all of the variant had begun so"]
NOTE = (
    "Upper, filled dot: as they are. Lower, open dot: as if all patients of the variant had begun "
    "with the maneuver. In brackets: 95 % confidence intervals."
)


def view_courses(rows: pd.DataFrame, config: Config) -> tuple[list[dict], pd.DataFrame]:
    """Show each number as it is beside the standardised one, by variant; nothing is left.

    Parameters
    ----------
    rows
        Disclosed rows of first_courses.
    config
        The plan.

    Returns
    -------
    tuple
        A table for each number, with the cells that have it or say why not; and no rows.
    """
    of = {(row.stratum, row.term): row for row in rows.itertuples()}
    tables = []
    for term in dict.fromkeys(term.removeprefix(STANDARDISED) for _, term in of):
        strata = [stratum for stratum, each in of if each == term]
        pairs = {s: (of[s, term], of.get((s, STANDARDISED + term))) for s in strata}
        marks = [mark for pair in pairs.values() for mark in _mark(pair)]
        kind = find_quantity("first_courses", strata[0], term).quantity.kind
        scale = SHARES if kind == "probability" else choose_scale(marks)
        groups: dict[str, list[dict]] = {}
        for stratum, pair in pairs.items():
            parts = split_stratum(stratum)
            told = _mark(pair)
            shown = {
                "label": begin_sentence(name_value("family", parts["family"], config)),
                "sub": "",
                "cells": [_write(row) for row in pair],
                "picture": draw_marks(told, scale) if told else None,
                **say_status([row for row in pair if row is not None]),
            }
            groups.setdefault(f"variant={parts['variant']}", []).append(shown)
        named = [
            {"heading": begin_sentence(name_part(variant, config)), "rows": made}
            for variant, made in groups.items()
        ]
        name = begin_sentence(name_term("first_courses", strata[0], term, config))
        tables.append(
            make_table(name, COLUMNS, named, first="First maneuver", scale=scale, note=NOTE)
        )
    return tables, rows.iloc[:0]


def _mark(pair: tuple[Any, Any]) -> list[Mark]:
    """Dots with their limits of the numbers that there are."""
    marks = []
    for row, kind in zip(pair, ("main", "other"), strict=True):
        if row is not None and row.status == "ok" and pd.notna(row.estimate):
            low, high = (None if pd.isna(end) else float(end) for end in (row.lower, row.upper))
            marks.append(Mark(float(row.estimate), low, high, kind))
    return marks


def _write(row: Any) -> str:
    if row is None:
        return "–"
    limits = write_limits(row.lower, row.upper, row.status)
    if pd.isna(row.estimate):
        return limits or row.status.replace("_", " ")
    return f"{write_number(row.estimate)} ({limits})"
