"""Write the template workbook that a coordinator fills in."""

import argparse
import sys
from pathlib import Path

from pipeline.desk.template import build_template, write_template
from pipeline.sources import ROOT
from schemas.study import read_config


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "template",
        help="write the workbook to fill in",
        description="Writes an empty workbook with a sheet for each table, lists to choose from, hints, an example and the dictionary.",
    )
    parser.add_argument(
        "--out", type=Path, default=Path("template.xlsx"), help="file to write (default: template.xlsx)"
    )
    parser.add_argument("--force", action="store_true", help="write over a file of that name")
    parser.add_argument(
        "--plan", type=Path, default=ROOT / "config", help="folder with the plan (default: the project's own)"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Write the workbook, never over another file unasked."""
    if arguments.out.exists() and not arguments.force:
        sys.exit(f"{arguments.out} exists: choose another name, or add --force to write over it")
    arguments.out.write_bytes(write_template(build_template(list(read_config(arguments.plan).maneuvers))))
    print(
        f"{arguments.out} is ready to be filled in. Check it before sending: python -m pipeline check {arguments.out}"
    )
