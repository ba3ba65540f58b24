"""Write the committee's report from the estimates, as a page and as a PDF; no model runs here."""

import argparse
from pathlib import Path

import pandas as pd

from pipeline.committee.report import compose_report
from pipeline.render import render_page
from pipeline.steps.run import run_step
from pipeline.typeset import typeset_report
from schemas.estimate import Estimates
from schemas.study import read_config


def main() -> None:
    """Read the command line and write the report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, required=True, help="folder with the plan")
    parser.add_argument(
        "--fingerprints", type=Path, required=True, help="file that names what the numbers were made from"
    )
    parser.add_argument("--page", type=Path, required=True, help="page to write")
    parser.add_argument("--pdf", type=Path, required=True, help="PDF to write, of the same content")
    parser.add_argument("estimates", type=Path, nargs="+", help="files of estimates after small groups were hidden")
    arguments = parser.parse_args()
    estimates = {path.stem: Estimates.cast(pd.read_csv(path)) for path in arguments.estimates}
    used = pd.read_csv(arguments.fingerprints, dtype="string").set_index("name")["value"].to_dict()
    content = compose_report(estimates, read_config(arguments.plan), used)
    arguments.page.write_text(render_page("committee.html.j2", content), "utf-8")
    typeset_report("committee.typ", content, arguments.pdf)


if __name__ == "__main__":
    run_step(main)
