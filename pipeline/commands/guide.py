"""Write the coordinator's guide."""

import argparse
import sys
from pathlib import Path

from pipeline.commands.arguments import add_plan


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "guide",
        help="write the coordinator's guide with pictures",
        description=(
            "Writes a guide with pictures of the page: from a double click to an accepted "
            "delivery. A file of that name is replaced."
        ),
    )
    parser.add_argument(
        "--out", type=Path, default=Path("guide.pdf"), help="file to write (default: guide.pdf)"
    )
    add_plan(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Write the guide."""
    from pipeline.coordinator.guide import describe_guide, list_pictures
    from pipeline.reports.typeset import typeset_report
    from schemas.study import read_config

    if arguments.out.is_dir() or not arguments.out.parent.is_dir():
        sys.exit(f"{arguments.out}: name a .pdf file in a folder that exists")
    content = describe_guide(read_config(arguments.plan))
    typeset_report("guide.typ", content, arguments.out, list_pictures())
    print(f"{arguments.out} is written")
