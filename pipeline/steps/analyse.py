"""Run one analysis: read the tables it names, estimate, and write its file."""

import sys

from pipeline.analyses.plan import ANALYSES, run_analysis
from pipeline.statistics.guard import Disagreement
from pipeline.steps.arguments import add_path, start_parser
from pipeline.steps.run import Counts, run_step
from pipeline.warehouse import open_warehouse
from schemas.study import read_config


def main() -> Counts:
    """Read the command line, estimate, and write one file; the rows by status."""
    parser = start_parser(__doc__)
    add_path(parser, "--warehouse", "file to read")
    add_path(parser, "--out", "file to write")
    parser.add_argument("analysis", choices=ANALYSES, help="name of the analysis")
    arguments = parser.parse_args()
    with open_warehouse(arguments.warehouse) as warehouse:
        try:
            estimates = run_analysis(arguments.analysis, warehouse, read_config(arguments.plan))
        except Disagreement as disagreement:
            sys.exit(str(disagreement))
        read = {f"{name} read": rows for name, rows in warehouse.rows_read.items()}
    estimates.to_csv(arguments.out, index=False)
    return (
        read | {"estimates written": len(estimates)} | estimates["status"].value_counts().to_dict()
    )


if __name__ == "__main__":
    run_step(main)
