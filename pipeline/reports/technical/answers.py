"""Planted and found as a table: one row an order of maneuvers, the truth between the answer's
limits or not."""

from typing import Any

import pandas as pd

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

COLUMNS = ["Planted", "Answer", "95 % CI", "Holds the truth", "Naive answer"]
PLANTED, FOUND, NAIVE = "planted_", "found_", "naive_"


def view_answers(rows: pd.DataFrame, config: Config) -> tuple[list[dict], pd.DataFrame]:
    """What was planted beside what the release answers and beside the naive answer, for each
    number in turn; nothing is left."""
    of = {
        (row.term.split("_", 1)[1], row.stratum, row.term.split("_", 1)[0] + "_"): row
        for row in rows.itertuples()
    }
    tables = []
    for measure in dict.fromkeys(measure for measure, *_ in of):
        told = [row for (name, _, source), row in of.items() if name == measure and source == FOUND]
        groups: dict[str, list[dict]] = {}
        for stratum in [row.stratum for row in told if row.status == "ok"]:
            sources = {s: of.get((measure, stratum, s)) for s in (PLANTED, FOUND, NAIVE)}
            variant = f"variant={split_stratum(stratum)['variant']}"
            groups.setdefault(variant, []).append(_show(stratum, sources, config))
        if not groups:
            continue
        one = of[measure, told[0].stratum, PLANTED]
        tables.append(
            make_table(
                _name_measure(one, config),
                COLUMNS,
                [
                    {"heading": begin_sentence(name_part(variant, config)), "rows": shown}
                    for variant, shown in groups.items()
                ],
            )
        )
    return tables, rows.iloc[:0]


def _name_measure(row: Any, config: Config) -> str:
    """What a number is, without where it is from."""
    named = name_term(row.analysis, row.stratum, row.term, config)
    return begin_sentence(named.partition(": ")[2])


def _show(stratum: str, sources: dict[str, Any], config: Config) -> dict:
    """One order: the truth, the answer with its limits, whether these hold it, and the naive
    answer."""
    planted, found, naive = (sources[name] for name in (PLANTED, FOUND, NAIVE))
    order = split_stratum(stratum)["strategy"]
    held = found.lower <= planted.estimate <= found.upper
    return {
        "label": name_order(order, config),
        "sub": "",
        "cells": [
            write_number(planted.estimate),
            write_number(found.estimate),
            write_limits(found.lower, found.upper, found.status),
            "yes" if held else "no",
            write_number(naive.estimate) if naive is not None and naive.status == "ok" else "–",
        ],
        "picture": None,
        **say_status([found]),
    }
