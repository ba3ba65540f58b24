"""Write the technical report from the estimates; no model runs here."""

import argparse
from pathlib import Path

import pandas as pd

from pipeline.reports.render import render_page
from pipeline.reports.technical.report import compose_technical
from pipeline.steps.run import Counts, run_step
from schemas.estimate import Estimates
from schemas.study import PARTS, read_config


def main() -> Counts:
    """Read the command line and write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, required=True, help="folder with the plan")
    parser.add_argument(
        "--fingerprints",
        type=Path,
        required=True,
        help="file that names what the numbers were made from",
    )
    parser.add_argument(
        "--figures",
        type=Path,
        required=True,
        help="folder of the committee's figures, with their list",
    )
    parser.add_argument(
        "--invented", action="store_true", help="say that nobody in the pool exists"
    )
    parser.add_argument("--out", type=Path, required=True, help="page to write")
    parser.add_argument(
        "estimates", type=Path, nargs="+", help="files of estimates after small groups were hidden"
    )
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
