"""Confusion tables as grids: one row a recorded or planted value, one column a reading."""

from typing import Any

import pandas as pd

from pipeline.reports.technical.pictures import SHARES, Mark, draw_marks
from pipeline.reports.technical.tables import make_table, say_status
from pipeline.reports.technical.terms import name_part, name_term, write_limits, write_number
from pipeline.reports.wording import begin_sentence
from schemas import codes
from schemas.declared import find_declared
from schemas.study import Config

RECORDED = find_declared(
    "diagnosis_agreement", "{part}:recorded={recorded},adjudicated={adjudicated}"
).pattern
READ = find_declared("planted_variants", "{part}:read={read}").pattern
SHARE_COLUMNS = ["Share", "95 % CI", "Episodes", "Read so", "Sites"]


def view_agreement(rows: pd.DataFrame, config: Config) -> tuple[list[dict], pd.DataFrame]:
    """Recorded (rows) by adjudicated (columns), with the agreement and kappa of each;
    the sites are left."""
    cells = rows[rows["term"].str.fullmatch(RECORDED.pattern)]
    grids: dict[str, dict] = {}
    for row in cells.itertuples():
        if match := RECORDED.fullmatch(row.term):
            part, recorded, adjudicated = match.groups()
            grids.setdefault(part, {})[recorded, adjudicated] = row
    tables = [
        _make_grid(
            f"{begin_sentence(part)}: recorded (rows) by adjudicated (columns)",
            "Recorded",
            grid,
            _say_kappa(rows, part),
        )
        for part, grid in grids.items()
    ]
    return tables, rows.drop(cells.index)


def view_planted(rows: pd.DataFrame, config: Config) -> tuple[list[dict], pd.DataFrame]:
    """What was planted (rows) by what it was read as (columns),
    then the shares read as planted with a picture."""
    cells = rows[rows["term"].str.fullmatch(READ.pattern)]
    grids: dict[str, dict] = {}
    for row in cells.itertuples():
        if match := READ.fullmatch(row.term):
            part, value = match.groups()
            value = codes.POSITIONAL[value] if part == "positional" else value
            grids.setdefault(part, {})[row.stratum.removeprefix("planted="), value] = row
    tables = [
        _make_grid(
            f"{begin_sentence(part)}: planted (rows) by reading (columns)", "Planted", grid, ""
        )
        for part, grid in grids.items()
    ]
    shares = rows.drop(cells.index)
    groups = [
        {
            "heading": begin_sentence(name_part(stratum, config)),
            "rows": [_show_share(row, config) for row in part.itertuples()],
        }
        for stratum, part in shares.groupby("stratum", sort=False)
    ]
    if groups:
        tables.append(
            make_table(
                "Shares read as planted, where tests can tell", SHARE_COLUMNS, groups, scale=SHARES
            )
        )
    return tables, shares.iloc[:0]


def _show_share(row: Any, config: Config) -> dict:
    low, high = (None if pd.isna(limit) else float(limit) for limit in (row.lower, row.upper))
    return {
        "label": begin_sentence(name_term(row.analysis, row.stratum, row.term, config)),
        "sub": "",
        "cells": [
            write_number(row.estimate),
            write_limits(row.lower, row.upper, row.status),
            *(write_number(count) for count in (row.n_episodes, row.n_events, row.n_sites)),
        ],
        "picture": draw_marks([Mark(float(row.estimate), low, high)], SHARES)
        if row.status == "ok"
        else None,
        **say_status([row]),
    }


def _make_grid(caption: str, first: str, cells: dict, note: str) -> dict:
    lines = list(dict.fromkeys(line for line, _ in cells))
    columns = list(dict.fromkeys(column for _, column in cells))
    made = []
    for line in lines:
        row = [cells[line, column] for column in columns if (line, column) in cells]
        made.append(
            {
                "label": begin_sentence(line.replace("_", " ")),
                "sub": "",
                "cells": [_write_cell(cells.get((line, column))) for column in columns],
                "picture": None,
                **say_status(row),
            }
        )
    names = [begin_sentence(column.replace("_", " ")) for column in columns]
    return make_table(caption, names, [{"heading": "", "rows": made}], first=first, note=note)


def _write_cell(row: Any) -> str:
    if row is None:
        return "–"
    return write_number(row.estimate) if row.status == "ok" else row.status.replace("_", " ")


def _say_kappa(rows: pd.DataFrame, part: str) -> str:
    """Agreement and kappa of the whole in a sentence, or why there is none."""
    clauses = []
    for row in rows[
        rows["stratum"].eq("all") & rows["term"].isin([f"{part}_agreement", f"{part}_kappa"])
    ].itertuples():
        name = "Cohen's kappa" if row.term.endswith("kappa") else "Share in agreement"
        limits = write_limits(row.lower, row.upper, row.status)
        clauses.append(
            f"{name}: {write_number(row.estimate)}{f' ({limits})' if limits else ''}."
            if row.status == "ok"
            else f"{name}: {row.status}, {row.note}."
        )
    return " ".join(clauses)
