"""Say what the run made of the deliveries, for whoever started it."""

import argparse
from pathlib import Path

import pandas as pd

from pipeline.steps.run import Counts, run_step
from pipeline.summary import describe_run
from pipeline.warehouse import open_warehouse

TOLD = ("deliveries", "row_counts", "problems")


def main() -> Counts:
    """Read the command line and write one file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--warehouse", type=Path, required=True, help="file to read")
    parser.add_argument(
        "--results", type=Path, required=True, help="folder of everything that the run has made"
    )
    parser.add_argument(
        "--release", type=Path, required=True, help="file that says which release it is"
    )
    parser.add_argument(
        "--withdrawals", type=Path, help="file that says how many withdrew at each site, if any did"
    )
    parser.add_argument("--out", type=Path, required=True, help="file to write")
    parser.add_argument(
        "estimates", type=Path, nargs="+", help="files of estimates after small groups were hidden"
    )
    arguments = parser.parse_args()
    with open_warehouse(arguments.warehouse) as warehouse:
        tables = {name: warehouse.read(name) for name in TOLD}
    estimates = pd.concat([pd.read_csv(path, usecols=["status"]) for path in arguments.estimates])
    withdrawn = pd.read_csv(arguments.withdrawals) if arguments.withdrawals else pd.DataFrame()
    release = pd.read_csv(arguments.release, dtype="string").set_index("name")["value"].to_dict()
    arguments.out.write_text(
        describe_run(tables, estimates, release, withdrawn, arguments.results), "utf-8"
    )
    return {f"{name} read": rows for name, rows in warehouse.rows_read.items()} | {
        "estimates read": len(estimates)
    }


if __name__ == "__main__":
    run_step(main)
