"""Store everything that was received, decide what it means, and write the rows that the models see:
one warehouse, whole or not at all."""

from pathlib import Path

from pipeline.derivation.tables import DELIVERED, derive_tables
from pipeline.steps.arguments import add_path, start_parser
from pipeline.steps.run import Counts, run_step
from pipeline.warehouse import build_warehouse
from schemas.plan_parts import take_parts
from schemas.study import read_config


def main() -> Counts:
    """Read the command line and build the warehouse; the rows of its derived tables."""
    parser = start_parser(__doc__)
    add_path(parser, "--warehouse", "file to write")
    parser.add_argument(
        "deliveries", type=Path, nargs="*", help="folders that intake wrote, one a delivery"
    )
    arguments = parser.parse_args()
    config = take_parts(read_config(arguments.plan), "store")
    with build_warehouse(arguments.warehouse) as warehouse:
        warehouse.load_deliveries(arguments.deliveries)
        delivered = {name: warehouse.read(name, current=True) for name in DELIVERED}
        derived = derive_tables(delivered, config)
        for name, rows in derived.items():
            warehouse.insert(name, rows)
    return {"deliveries stored": len(arguments.deliveries)} | {
        name: len(rows) for name, rows in {**delivered, **derived}.items()
    }


if __name__ == "__main__":
    run_step(main)
