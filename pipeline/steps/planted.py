"""Compare what was planted with what the tests were read as and with what is released:
for the demonstration pool only."""

import pandas as pd

from pipeline.analyses.description.planted import compare_planted
from pipeline.analyses.description.planted_answers import compare_answers
from pipeline.steps.arguments import add_path, start_parser
from pipeline.steps.run import Counts, run_step
from pipeline.warehouse import open_warehouse
from schemas.estimate import Estimates
from schemas.study import read_config


def main() -> Counts:
    """Read the command line, compare, and write two files."""
    parser = start_parser(__doc__)
    add_path(parser, "--truth", "folder with the planted episodes and answers")
    add_path(parser, "--warehouse", "file to read")
    add_path(parser, "--estimates", "folder of released estimates, to read and to write to")
    arguments = parser.parse_args()
    config = read_config(arguments.plan)
    episodes = pd.read_csv(arguments.truth / "episodes.csv", dtype="string", keep_default_na=False)
    with open_warehouse(arguments.warehouse) as warehouse:
        readings, findings = warehouse.read("adjudications"), warehouse.read("findings")
    variants = compare_planted(readings, findings, episodes, config)
    strategies, first_choice = (
        Estimates.cast(pd.read_csv(arguments.estimates / f"{name}.csv"))
        for name in ("strategies", "first_choice")
    )
    answers = pd.read_csv(arguments.truth / "answers.csv")
    found = compare_answers(strategies, first_choice, answers, config.study)
    variants.to_csv(arguments.estimates / "planted_variants.csv", index=False)
    found.to_csv(arguments.estimates / "planted_answers.csv", index=False)
    return {
        "planted episodes": len(episodes),
        "adjudications read": len(readings),
        "rows written": len(variants) + len(found),
    }


if __name__ == "__main__":
    run_step(main)
