"""Write the technical report from the estimates; no model runs here."""

import argparse
from pathlib import Path

import pandas as pd

from pipeline.render import render_page
from pipeline.steps.run import run_step
from pipeline.technical.report import compose_technical
from schemas.estimate import Estimates
from schemas.study import PARTS, SITES, read_config


def main() -> None:
    """Read the command line and write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, required=True, help="folder with the plan")
    parser.add_argument(
        "--fingerprints", type=Path, required=True, help="file that names what the numbers were made from"
    )
    parser.add_argument("--out", type=Path, required=True, help="page to write")
    parser.add_argument("estimates", type=Path, nargs="+", help="files of estimates after small groups were hidden")
    arguments = parser.parse_args()
    estimates = {path.stem: Estimates.cast(pd.read_csv(path)) for path in arguments.estimates}
    used = pd.read_csv(arguments.fingerprints, dtype="string").set_index("name")["value"].to_dict()
    files = [
        *(f"{name}.yaml" for name in PARTS),
        *(f"{SITES}/{path.name}" for path in sorted((arguments.plan / SITES).glob("*.yaml"))),
    ]
    plan_files = {name: (arguments.plan / name).read_text("utf-8") for name in files}
    content = compose_technical(estimates, read_config(arguments.plan), plan_files, used)
    arguments.out.write_text(render_page("technical.html.j2", content), "utf-8")


if __name__ == "__main__":
    run_step(main)
