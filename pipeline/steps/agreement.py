"""Compare recorded and adjudicated diagnoses: agreement for the pool, and for each site its own list of differences."""

import argparse
from pathlib import Path

from pipeline.models.agreement import list_disagreements, measure_agreement, pair_diagnoses
from pipeline.steps.run import run_step
from pipeline.warehouse import open_warehouse
from schemas.study import read_config


def main() -> None:
    """Read the command line, compare, and write one file of estimates and one list a site."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, required=True, help="folder with the plan")
    parser.add_argument("--warehouse", type=Path, required=True, help="file to read")
    parser.add_argument("--out", type=Path, required=True, help="file of estimates to write")
    parser.add_argument("lists", type=Path, nargs="*", help="files to write, .../<site>/disagreements.csv")
    arguments = parser.parse_args()
    with open_warehouse(arguments.warehouse) as warehouse:
        pairs = pair_diagnoses(warehouse.read("episodes", current=True), warehouse.read("adjudications"))
    measure_agreement(pairs, read_config(arguments.plan).study.curves).to_csv(arguments.out, index=False)
    differing = list_disagreements(pairs)
    for path in arguments.lists:
        differing[differing["site"].eq(path.parent.name)].to_csv(path, index=False)


if __name__ == "__main__":
    run_step(main)
