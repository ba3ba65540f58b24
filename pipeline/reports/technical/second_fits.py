"""The table of models that were fitted twice: one row a model, what it was compared with,
and how far the two agree."""

from typing import Any

import pandas as pd

from pipeline.reports.technical.tables import make_table, say_status
from pipeline.reports.technical.terms import write_number
from pipeline.reports.wording import begin_sentence
from schemas.study import Config


def view_model_agreement(rows: pd.DataFrame, config: Config) -> tuple[list[dict], pd.DataFrame]:
    """Each model with its largest difference, rounded up, beside the most that it may be."""
    by_key = {(row.stratum, row.term): row for row in rows.itertuples()}
    made = [
        _view_model(row, by_key.get((stratum, "tolerance")))
        for (stratum, term), row in by_key.items()
        if term == "largest_difference"
    ]
    columns = ["Second fit", "Agreement", "At most", "Sites"]
    return [
        make_table("Agreement of models", columns, [{"heading": "", "rows": made}], first="Model")
    ], rows.iloc[:0]


def _view_model(row: Any, most: Any) -> dict:
    agrees = f"agrees to {write_number(row.estimate)}" if row.status == "ok" else "not compared"
    return {
        "label": begin_sentence(row.stratum.partition("=")[2].replace("_", " ")),
        "sub": "" if most is None or pd.isna(most.note) else f"why this much: {most.note}",
        "cells": [
            row.method,
            agrees,
            write_number(most.estimate) if most is not None else "",
            write_number(row.n_sites),
        ],
        "picture": None,
        **say_status([row]),
    }
