"""Hide small groups and single sites in all estimates, and audit them together with every earlier
release: what this writes may leave the place where the patients' rows are. The ledger of releases
stays."""

import sys
from pathlib import Path

import pandas as pd

from pipeline.disclosure.issue import issue_release
from pipeline.disclosure.known import Misread
from pipeline.disclosure.people import narrow_trials
from pipeline.disclosure.release import GivenAway
from pipeline.steps.arguments import add_fingerprints, add_path, start_parser
from pipeline.steps.run import Counts, run_step
from schemas.estimate import Estimates
from schemas.quantities import Undeclared
from schemas.study import read_config


def main() -> Counts:
    """Read the command line and write a safe copy of each file of estimates,
    or none if the audit fails; the rows by status."""
    parser = start_parser(__doc__)
    add_path(parser, "--ledger", "folder that remembers every release")
    add_fingerprints(parser)
    add_path(parser, "--out", "folder to write to")
    add_path(parser, "--release", "file that says which release it is, and what it was made from")
    parser.add_argument(
        "estimates", type=Path, nargs="+", help="files of estimates as the models wrote them"
    )
    arguments = parser.parse_args()
    config = read_config(arguments.plan)
    estimates = pd.concat(
        [Estimates.cast(pd.read_csv(path)) for path in arguments.estimates], ignore_index=True
    )
    used = pd.read_csv(arguments.fingerprints, dtype="string")
    trials = narrow_trials(config.published)
    try:
        issue = issue_release(estimates, config.study.disclosure, trials, arguments.ledger, used)
    except (GivenAway, Misread, Undeclared) as refused:
        sys.exit(str(refused))
    for path in arguments.estimates:
        issue.files.get(path.name, Estimates.empty()).to_csv(arguments.out / path.name, index=False)
    issue.made_from.to_csv(arguments.release, index=False)
    if issue.message:
        print(issue.message)
    before = estimates["status"].value_counts().add_suffix(" before protection").to_dict()
    released = pd.concat(issue.files.values())["status"]
    number = int(issue.made_from["value"].iloc[0])
    return (
        {"release": number, "estimates read": len(estimates)}
        | before
        | released.value_counts().to_dict()
    )


if __name__ == "__main__":
    run_step(main)
