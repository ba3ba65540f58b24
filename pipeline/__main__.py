"""Tools at a terminal: guide, desk, template, pseudonymise, check and dictionary for whoever hands
in records, explain, trace and catalogue for whoever asks why, verify, compare and bill for who
proves."""

# A tool's module holds its command line and imports what it works with only when it runs: --help
# must not wait for libraries.

import argparse
import sys

from pipeline import __version__
from pipeline.commands import (
    bill,
    catalogue,
    check,
    compare,
    desk,
    dictionary,
    explain,
    guide,
    pseudonymise,
    template,
    trace,
    verify,
)
from pipeline.steps.run import run_guarded

TOOLS = (
    guide,
    desk,
    template,
    pseudonymise,
    check,
    dictionary,
    explain,
    trace,
    catalogue,
    verify,
    compare,
    bill,
)
NOTHING_DONE = 3  # also where the check finds nothing to read
INTERRUPTED = 130


def main() -> None:
    """Read the command line and run one tool; no message of a library reaches the terminal,
    since it could quote a record."""
    parser = argparse.ArgumentParser(prog="./run", description=__doc__)
    parser.add_argument("--version", action="version", version=__version__)
    tools = parser.add_subparsers(dest="tool", required=True, metavar="TOOL")
    for tool in TOOLS:
        tool.add_to(tools)
    arguments = parser.parse_args()
    try:
        run_guarded(lambda: arguments.run(arguments), NOTHING_DONE)
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        sys.exit(INTERRUPTED)


if __name__ == "__main__":
    main()
