"""Tools at a terminal: template, pseudonymise, check and dictionary for whoever hands in records, explain for whoever asks why."""

import argparse

from pipeline import __version__
from pipeline.tools import check, dictionary, explain, pseudonymise, template

TOOLS = (template, pseudonymise, check, dictionary, explain)


def main() -> None:
    """Read the command line and run one tool."""
    parser = argparse.ArgumentParser(prog="./run", description=__doc__)
    parser.add_argument("--version", action="version", version=__version__)
    tools = parser.add_subparsers(dest="tool", required=True, metavar="TOOL")
    for tool in TOOLS:
        tool.add_to(tools)
    arguments = parser.parse_args()
    arguments.run(arguments)


if __name__ == "__main__":
    main()
