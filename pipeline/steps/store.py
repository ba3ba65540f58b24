"""Store everything that was received, decide what it means, and write the rows that the models see: one warehouse, whole or not at all."""

import argparse
from pathlib import Path

from pipeline.derive.tables import DELIVERED, derive_tables
from pipeline.steps.run import run_step
from pipeline.warehouse import build_warehouse
from schemas.study import read_config


def main() -> None:
    """Read the command line and build the warehouse."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, required=True, help="folder with the plan")
    parser.add_argument("--warehouse", type=Path, required=True, help="file to write")
    parser.add_argument("deliveries", type=Path, nargs="*", help="folders that intake wrote, one a delivery")
    arguments = parser.parse_args()
    with build_warehouse(arguments.warehouse) as warehouse:
        warehouse.load_deliveries(arguments.deliveries)
        delivered = {name: warehouse.read(name, current=True) for name in DELIVERED}
        for name, rows in derive_tables(delivered, read_config(arguments.plan)).items():
            warehouse.insert(name, rows)


if __name__ == "__main__":
    run_step(main)
