"""Hide small groups in every estimate, once: what this writes may leave the place where the patients' rows are."""

import argparse
from pathlib import Path

import pandas as pd

from pipeline.disclose import disclose_estimates
from pipeline.steps.run import run_step
from schemas.estimate import Estimates
from schemas.study import read_config


def main() -> None:
    """Read the command line and write a safe copy of each file of estimates."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, required=True, help="folder with the plan")
    parser.add_argument("--out", type=Path, required=True, help="folder to write to")
    parser.add_argument("estimates", type=Path, nargs="+", help="files of estimates as the models wrote them")
    arguments = parser.parse_args()
    rule = read_config(arguments.plan).study.disclosure
    for path in arguments.estimates:
        disclose_estimates(Estimates.cast(pd.read_csv(path)), rule).to_csv(arguments.out / path.name, index=False)


if __name__ == "__main__":
    run_step(main)
