"""Get the workbook, check records and save a delivery on a page in the browser."""

import argparse
import sys

from pipeline.commands.arguments import add_plan

CLOSED = "The page is closed, and its copies are deleted."


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "desk",
        help="get the workbook, check records and save a delivery on a page in the browser",
        description=(
            "Opens a page in the browser that does what template and check do: the empty workbook, "
            "the check with its marked copy, and a delivery that is named as it must be. It "
            "answers to this computer alone, sends nothing anywhere, keeps nothing, and ends with "
            "its window."
        ),
    )
    add_plan(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Serve the page until its window is closed."""
    print("The page opens in your browser in a moment.", file=sys.stderr, flush=True)
    from pipeline.desk.serve import serve

    serve(arguments.plan, say_address)
    print(CLOSED)


def say_address(address: str) -> None:
    """What to do if no browser opened."""
    print(
        f"If it does not, open this address, which works once: {address}\n"
        "Leave this window open until you are done: closing it ends the page.",
        flush=True,
    )
