"""Orders of maneuvers as a table: how each differs from the usual one by the g-formula and by
weights, side by side."""

from typing import Any

import pandas as pd

from pipeline.reports.readings import Reading, disagree
from pipeline.reports.technical.tables import make_table, say_status
from pipeline.reports.technical.terms import (
    name_order,
    name_part,
    name_term,
    write_limits,
    write_number,
)
from pipeline.reports.wording import begin_sentence
from schemas.strata import split_stratum
from schemas.study import Config

G_FORMULA, WEIGHTED = "strategies", "weighted_strategies"
COLUMNS = ["By the g-formula", "By weights", "Together"]
NOTE = (
    "In brackets: 95 % confidence intervals. The two disagree where they lie further apart than "
    "the limits of a difference of both, taken to be independent."
)


def view_both_ways(first: pd.DataFrame, second: pd.DataFrame, config: Config) -> list[dict]:
    """Show each difference from the usual order both ways.

    Parameters
    ----------
    first, second
        Disclosed rows by the g-formula and by weights.
    config
        The plan.

    Returns
    -------
    list[dict]
        A table for each number that is estimated by weights, with the orders that have one either
        way.
    """
    of_first = {(row.stratum, row.term): row for row in first.itertuples()}
    of_second = {(row.stratum, row.term): row for row in second.itertuples()}
    tables = []
    for term in dict.fromkeys(term for _, term in of_second):
        groups: dict[str, list[dict]] = {}
        strata = [stratum for stratum, each in of_second if each == term]
        for stratum in strata:
            pair = of_first.get((stratum, term)), of_second[stratum, term]
            if any(_read(row).usable for row in pair):
                variant = f"variant={split_stratum(stratum)['variant']}"
                groups.setdefault(variant, []).append(_show(stratum, pair, config))
        if groups:
            named = [
                {"heading": begin_sentence(name_part(variant, config)), "rows": rows}
                for variant, rows in groups.items()
            ]
            name = name_term(WEIGHTED, strata[0], term, config)
            tables.append(
                make_table(begin_sentence(name), COLUMNS, named, first="Order", note=NOTE)
            )
    return tables


def _show(stratum: str, pair: tuple[Any, Any], config: Config) -> dict:
    readings = [_read(row) for row in pair]
    together = ""
    if all(reading.usable for reading in readings):
        together = "disagree" if disagree(*readings) else "within their errors"
    return {
        "label": name_order(split_stratum(stratum)["strategy"], config),
        "sub": "",
        "cells": [*map(_write, pair), together],
        "picture": None,
        **say_status([row for row in pair if row is not None]),
    }


def _read(row: Any) -> Reading:
    """A row as a reading; an absent one of none."""
    if row is None:
        return Reading()
    estimate, lower, upper = (
        None if pd.isna(each) else float(each) for each in (row.estimate, row.lower, row.upper)
    )
    return Reading(estimate, lower, upper, status=row.status)


def _write(row: Any) -> str:
    if row is None or pd.isna(row.estimate):
        return "" if row is None else row.status.replace("_", " ")
    limits = write_limits(row.lower, row.upper, row.status)
    return f"{write_number(row.estimate)} ({limits})"
