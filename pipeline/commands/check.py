"""Check a delivery before it is sent: the workflow's own verdict; nothing leaves the machine."""

import argparse
import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path

from pipeline.commands.arguments import add_plan

UNREADABLE = 3


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "check",
        help="check a delivery before it is sent",
        description=(
            "Says whether a delivery can be pooled and what to mend. It gives the verdict of the "
            "workflow, to the row, and sends nothing anywhere."
        ),
        epilog=(
            "Exit code: 0 all fine, 1 rows would be set aside, 2 the delivery would be refused, 3 "
            "there is nothing to check."
        ),
    )
    parser.add_argument(
        "path",
        type=Path,
        help=(
            "a workbook (.xlsx), a folder with the five .csv files, or a folder of deliveries as "
            "S03/001"
        ),
    )
    add_plan(parser)
    parser.add_argument(
        "--site",
        help=(
            "whose list of own names is used for a lone workbook or folder (config/sites; default: "
            "as it says itself)"
        ),
    )
    parser.add_argument(
        "--mark",
        action="store_true",
        help=(
            "also write a copy of the delivery, beside it, with every cell to mend coloured and "
            "explained and a list that leads to them"
        ),
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Print the verdict on each delivery and end with the gravest exit code."""
    say_progress("starting")
    with sparing_imports():
        from pipeline.coordinator.check import NothingToCheck, check_path
        from schemas.study import read_config

    try:
        worst = check_path(
            arguments.path,
            read_config(arguments.plan),
            arguments.site,
            mark=arguments.mark,
            notify=say_progress,
        )
    except NothingToCheck as fault:
        say_progress("")
        print(fault, file=sys.stderr)
        sys.exit(UNREADABLE)
    sys.exit(worst)


@contextmanager
def sparing_imports() -> Iterator[None]:
    """Imports that take about a quarter less time: nothing is thrown away meanwhile, and pandera
    does not find the library by which it would make examples for tests, which is all that it needs
    it for."""
    gc.disable()
    missing = "hypothesis" not in sys.modules
    if missing:
        # how Python is told that there is no such module; its type knows modules only
        sys.modules["hypothesis"] = None  # type: ignore[assignment]
    try:
        yield
        # looks for that library on the first check of a table
        import_module("pandera.strategies.pandas_strategies")
    finally:
        if missing:
            del sys.modules["hypothesis"]
        gc.freeze()
        gc.enable()


def say_progress(text: str) -> None:
    """What is going on: at a terminal on one line that the next call writes over,
    elsewhere on a line of its own. An empty text ends it."""
    if sys.stderr.isatty():
        print(f"\r\033[K{text and text + ' ...'}", end="", file=sys.stderr, flush=True)
    elif text:
        print(f"{text} ...", file=sys.stderr, flush=True)
