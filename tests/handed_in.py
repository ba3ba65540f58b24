"""Deliveries written as a clinic hands them in, and taken in and stored by the steps of the
workflow."""

import csv
import os
import subprocess
import sys
from pathlib import Path

from pipeline.sources import ROOT


def write_delivery(
    folder: Path, tables: dict[str, list[dict]], site: str, number: str, **submission: object
) -> None:
    """Five .csv files as a clinic hands them in; each table's rows are dicts of texts or
    numbers."""
    target = folder / site / number
    target.mkdir(parents=True)
    fields = {
        "site_code": site,
        "delivery": number,
        "dictionary_version": 1,
        "deidentified": "yes",
        "first_year": 2024,
    }
    fields |= {
        "last_year": 2024,
        "short_arm_basis": "not_assessed",
        "usual_confirmation_day": 7,
    } | submission
    rows = tables | {
        "submission": [{"field": field, "value": value} for field, value in fields.items()]
    }
    for name, members in rows.items():
        with (target / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(
                file, list(dict.fromkeys(column for row in members for column in row)), restval=""
            )
            writer.writeheader()
            writer.writerows(members)


def store_deliveries(pool: Path, folder: Path) -> Path:
    """Take in all deliveries of a pool and store them.

    Parameters
    ----------
    pool
        The deliveries, as <site>/<number>.
    folder
        Where to write what is made of them.

    Returns
    -------
    Path
        The warehouse.

    Raises
    ------
    subprocess.CalledProcessError
        If a step fails.
    """
    deliveries = sorted(pool.glob("*/*"))
    results, warehouse = folder / "results", folder / "warehouse.duckdb"
    rows = [results / "rows" / path.parent.name / path.name for path in deliveries]
    _run("intake", "--results", results, *deliveries)
    _run("store", "--warehouse", warehouse, *rows)
    return warehouse


def _run(step: str, *arguments: object) -> None:
    subprocess.run(
        [sys.executable, "-m", f"pipeline.steps.{step}", "--plan", ROOT / "config", *arguments],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        check=True,
        stdout=subprocess.DEVNULL,
    )
