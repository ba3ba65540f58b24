"""Say what the run made of the deliveries, for whoever started it."""

from pathlib import Path

import pandas as pd

from pipeline.steps.arguments import add_path, add_released, start_parser
from pipeline.steps.run import Counts, run_step
from pipeline.summary import describe_run
from pipeline.warehouse import open_warehouse

TOLD = ("deliveries", "row_counts", "problems")


def main() -> Counts:
    """Read the command line and write one file."""
    parser = start_parser(__doc__, plan=False)
    add_path(parser, "--warehouse", "file to read")
    add_path(parser, "--results", "folder of everything that the run has made")
    add_path(parser, "--release", "file that says which release it is")
    add_path(parser, "--kept", "file that says where it is kept")
    parser.add_argument(
        "--withdrawals", type=Path, help="file that says how many withdrew at each site, if any did"
    )
    add_path(parser, "--out", "file to write")
    add_released(parser)
    arguments = parser.parse_args()
    with open_warehouse(arguments.warehouse) as warehouse:
        tables = {name: warehouse.read(name) for name in TOLD}
    estimates = pd.concat([pd.read_csv(path, usecols=["status"]) for path in arguments.estimates])
    withdrawn = pd.read_csv(arguments.withdrawals) if arguments.withdrawals else pd.DataFrame()
    release = pd.read_csv(arguments.release, dtype="string").set_index("name")["value"].to_dict()
    kept = pd.read_csv(arguments.kept, dtype="string").iloc[0].to_dict()
    arguments.out.write_text(
        describe_run(tables, estimates, release, kept, withdrawn, arguments.results), "utf-8"
    )
    return {f"{name} read": rows for name, rows in warehouse.rows_read.items()} | {
        "estimates read": len(estimates)
    }


if __name__ == "__main__":
    run_step(main)
