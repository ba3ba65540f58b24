"""Tools at a terminal: template, pseudonymise, check and dictionary for whoever hands in records, explain for whoever asks why."""

import argparse
import sys

from pipeline import __version__
from pipeline.tools import check, dictionary, explain, pseudonymise, template
from schemas.plan_faults import PlanFault

TOOLS = (template, pseudonymise, check, dictionary, explain)
NO_PLAN = 3  # as where there is nothing to check


def main() -> None:
    """Read the command line and run one tool."""
    parser = argparse.ArgumentParser(prog="./run", description=__doc__)
    parser.add_argument("--version", action="version", version=__version__)
    tools = parser.add_subparsers(dest="tool", required=True, metavar="TOOL")
    for tool in TOOLS:
        tool.add_to(tools)
    arguments = parser.parse_args()
    try:
        arguments.run(arguments)
    except PlanFault as fault:
        print(fault, file=sys.stderr)
        sys.exit(NO_PLAN)


if __name__ == "__main__":
    main()
