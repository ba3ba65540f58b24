"""Compare the planted variants with the readings: for the demonstration pool only."""

import pandas as pd

from pipeline.analyses.description.planted import compare_planted
from pipeline.steps.arguments import add_path, start_parser
from pipeline.steps.run import Counts, run_step
from pipeline.warehouse import open_warehouse
from schemas.study import read_config


def main() -> Counts:
    """Read the command line, compare, and write one file."""
    parser = start_parser(__doc__)
    add_path(parser, "--truth", "file with the planted episodes")
    add_path(parser, "--warehouse", "file to read")
    add_path(parser, "--out", "file to write")
    arguments = parser.parse_args()
    truth = pd.read_csv(arguments.truth, dtype="string", keep_default_na=False)
    with open_warehouse(arguments.warehouse) as warehouse:
        readings, findings = warehouse.read("adjudications"), warehouse.read("findings")
    compared = compare_planted(readings, findings, truth, read_config(arguments.plan))
    compared.to_csv(arguments.out, index=False)
    return {
        "planted episodes": len(truth),
        "adjudications read": len(readings),
        "rows written": len(compared),
    }


if __name__ == "__main__":
    run_step(main)
