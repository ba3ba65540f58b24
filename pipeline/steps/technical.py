"""Write the technical report from the estimates; no model runs here."""

import pandas as pd

from pipeline.reports.render import render_page
from pipeline.reports.technical.report import compose_technical
from pipeline.steps.arguments import (
    add_fingerprints,
    add_invented,
    add_path,
    add_released,
    start_parser,
)
from pipeline.steps.run import Counts, run_step
from schemas.estimate import Estimates
from schemas.study import PARTS, read_config


def main() -> Counts:
    """Read the command line and write the page."""
    parser = start_parser(__doc__)
    add_fingerprints(parser)
    add_path(parser, "--figures", "folder of the committee's figures, with their list")
    add_invented(parser)
    add_path(parser, "--out", "page to write")
    add_released(parser)
    arguments = parser.parse_args()
    estimates = {path.stem: Estimates.cast(pd.read_csv(path)) for path in arguments.estimates}
    used = pd.read_csv(arguments.fingerprints, dtype="string").set_index("name")["value"].to_dict()
    plan_files = {
        f"{name}.yaml": (arguments.plan / f"{name}.yaml").read_text("utf-8") for name in PARTS
    }
    figures = pd.read_csv(
        arguments.figures / "figures.csv", dtype="string", keep_default_na=False
    ).to_dict("records")
    config = read_config(arguments.plan)
    content = compose_technical(
        estimates, config, plan_files, used, figures=figures, invented=arguments.invented
    )
    arguments.out.write_text(render_page("technical.html.j2", content), "utf-8")
    return {"estimates read": sum(map(len, estimates.values()))}


if __name__ == "__main__":
    run_step(main)
