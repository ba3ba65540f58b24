"""Hide small groups and single sites in all estimates, and audit them together: what this writes may leave the place where the patients' rows are."""

import argparse
import sys
from pathlib import Path

import pandas as pd

from pipeline.disclose.release import GivenAway, release_estimates
from pipeline.steps.run import Counts, run_step
from schemas.estimate import Estimates
from schemas.study import read_config


def main() -> Counts:
    """Read the command line and write a safe copy of each file of estimates, or none if the audit fails; the rows by status."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, required=True, help="folder with the plan")
    parser.add_argument("--previous", type=Path, help="folder with the estimates of the release before")
    parser.add_argument("--out", type=Path, required=True, help="folder to write to")
    parser.add_argument("estimates", type=Path, nargs="+", help="files of estimates as the models wrote them")
    arguments = parser.parse_args()
    estimates = pd.concat([read(path).assign(file=path.name) for path in arguments.estimates], ignore_index=True)
    files = estimates.pop("file")
    previous = arguments.previous and pd.concat([read_past(path) for path in sorted(arguments.previous.glob("*.csv"))])
    try:
        released = release_estimates(estimates, read_config(arguments.plan).study.disclosure, previous)
    except GivenAway as given_away:
        sys.exit(str(given_away))
    for path in arguments.estimates:
        released[files.eq(path.name)].to_csv(arguments.out / path.name, index=False)
    before = estimates["status"].value_counts().add_suffix(" before protection").to_dict()
    return {"estimates read": len(estimates)} | before | released["status"].value_counts().to_dict()


def read(path: Path) -> pd.DataFrame:
    """One file of estimates."""
    return Estimates.cast(pd.read_csv(path))


def read_past(path: Path) -> pd.DataFrame:
    """One file of an earlier release, which may lack columns that have come since."""
    return Estimates.cast(pd.read_csv(path).reindex(columns=list(Estimates.describe())))


if __name__ == "__main__":
    run_step(main)
