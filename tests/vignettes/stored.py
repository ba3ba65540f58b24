"""The vignettes and their variants through intake and store, as the workflow does it."""

import os
import subprocess
import sys
from pathlib import Path

from pipeline.sources import ROOT
from tests.vignettes.variants import write_pool


def store_vignettes(folder: Path) -> Path:
    """Take in all deliveries and store them; the warehouse.

    Parameters
    ----------
    folder
        An empty folder for the deliveries and what is made of them.

    Returns
    -------
    Path
        The warehouse.

    Raises
    ------
    subprocess.CalledProcessError
        If a step fails.
    """
    write_pool(folder / "pool")
    deliveries = sorted((folder / "pool").glob("*/*"))
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
