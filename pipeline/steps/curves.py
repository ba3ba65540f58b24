"""Estimate time to resolution: the share still unresolved by day, for the pool and its parts."""

import argparse
from pathlib import Path

from pipeline.models.curves import estimate_curves
from pipeline.steps.run import run_step
from pipeline.warehouse import open_warehouse
from schemas.study import read_config


def main() -> None:
    """Read the command line, estimate, and write one file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, required=True, help="folder with the plan")
    parser.add_argument("--warehouse", type=Path, required=True, help="file to read")
    parser.add_argument("--out", type=Path, required=True, help="file to write")
    arguments = parser.parse_args()
    with open_warehouse(arguments.warehouse) as warehouse:
        spells, adjudications, attempts = map(warehouse.read, ("spells", "adjudications", "attempts"))
    estimates = estimate_curves(spells, adjudications, attempts, read_config(arguments.plan).study)
    estimates.to_csv(arguments.out, index=False)


if __name__ == "__main__":
    run_step(main)
