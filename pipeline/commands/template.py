"""Write the template workbook that a coordinator fills in."""

import argparse
import sys
from pathlib import Path

from pipeline.commands.arguments import add_plan


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "template",
        help="write the workbook to fill in",
        description=(
            "Writes a workbook with a sheet for each table: lists to choose from, hints on every "
            "cell, an example, and the data dictionary. Fill it in and hand it in as it is."
        ),
        epilog="Afterwards: ./run check FILE.xlsx says whether it can be pooled and what to mend.",
    )
    parser.add_argument(
        "--out",
        type=Path,
        help="file to write (default: template.xlsx, with --filled template_filled.xlsx)",
    )
    parser.add_argument("--force", action="store_true", help="write over a file of that name")
    parser.add_argument(
        "--filled",
        action="store_true",
        help="with three invented episodes of site S99 filled in, to try things out",
    )
    add_plan(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Write the workbook, never over another file unasked; what stands in the way ends with a
    sentence."""
    from pipeline.coordinator.example import list_example
    from pipeline.coordinator.steady import write_steadily
    from pipeline.coordinator.template import build_template
    from schemas.study import read_config

    out = arguments.out or Path("template_filled.xlsx" if arguments.filled else "template.xlsx")
    if out.suffix.lower() != ".xlsx":
        sys.exit(f"{out} must end in .xlsx")
    if out.is_dir() or not out.parent.is_dir():
        sys.exit(
            f"{out} is a folder" if out.is_dir() else f"the folder {out.parent} does not exist"
        )
    if out.exists() and not arguments.force:
        sys.exit(f"{out} exists: choose another name, or add --force to write over it")
    maneuvers = {
        code: maneuver.name for code, maneuver in read_config(arguments.plan).maneuvers.items()
    }
    book = build_template(maneuvers, list_example() if arguments.filled else None)
    out.write_bytes(write_steadily(book))
    done = "holds three invented episodes" if arguments.filled else "is ready to be filled in"
    print(f"{out} {done}. Check it before you send it: ./run check {out}")
