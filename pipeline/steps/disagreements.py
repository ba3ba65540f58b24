"""List for each site the episodes whose recorded diagnosis differs from what the looks say: for its own eyes."""

import argparse
from pathlib import Path

from pipeline.models.agreement import list_disagreements, pair_diagnoses
from pipeline.steps.run import run_step
from pipeline.warehouse import open_warehouse


def main() -> None:
    """Read the command line and write one list a site."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--warehouse", type=Path, required=True, help="file to read")
    parser.add_argument("lists", type=Path, nargs="*", help="files to write, .../<site>/disagreements.csv")
    arguments = parser.parse_args()
    with open_warehouse(arguments.warehouse) as warehouse:
        pairs = pair_diagnoses(warehouse.read("episodes", current=True), warehouse.read("adjudications"))
    differing = list_disagreements(pairs)
    for path in arguments.lists:
        differing[differing["site"].eq(path.parent.name)].to_csv(path, index=False)


if __name__ == "__main__":
    run_step(main)
