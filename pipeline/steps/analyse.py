"""Run analyses: read the tables that each names, estimate, and write a file of each."""

import sys

from pipeline.analyses.plan import ANALYSES, run_analysis
from pipeline.statistics.guard import Disagreement
from pipeline.steps.arguments import add_path, start_parser
from pipeline.steps.run import Counts, run_step
from pipeline.warehouse import open_warehouse
from schemas.study import read_config


def main() -> Counts:
    """Read the command line, estimate, and write a file of each analysis; the rows by status."""
    parser = start_parser(__doc__)
    add_path(parser, "--warehouse", "file to read")
    add_path(parser, "--out", "folder of the files to write")
    parser.add_argument("analyses", nargs="+", choices=ANALYSES, help="names of analyses")
    arguments = parser.parse_args()
    config = read_config(arguments.plan)
    counts: Counts = {}
    with open_warehouse(arguments.warehouse) as warehouse:
        for analysis in arguments.analyses:
            try:
                estimates = run_analysis(analysis, warehouse, config)
            except Disagreement as disagreement:
                sys.exit(str(disagreement))
            estimates.to_csv(arguments.out / f"{analysis}.csv", index=False)
            statuses = estimates["status"].value_counts()
            counts |= {f"{analysis} {status}": rows for status, rows in statuses.items()}
        read = {f"{name} read": rows for name, rows in warehouse.rows_read.items()}
    return read | counts


if __name__ == "__main__":
    run_step(main)
