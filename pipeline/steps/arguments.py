"""What the steps' command lines have in common."""

import argparse
from pathlib import Path


def start_parser(says: str | None, *, plan: bool = True) -> argparse.ArgumentParser:
    """The command line of a step that does what `says`, and that takes the plan unless told
    otherwise."""
    parser = argparse.ArgumentParser(description=says, add_help=bool(says))
    parser.add_argument(
        "--seal", type=Path, help="file that will say what was made, for the workflow"
    )
    if plan:
        add_path(parser, "--plan", "folder with the plan")
    return parser


def add_path(parser: argparse.ArgumentParser, name: str, says: str) -> None:
    """A file or folder that the step cannot do without."""
    parser.add_argument(name, type=Path, required=True, help=says)


def add_fingerprints(parser: argparse.ArgumentParser) -> None:
    """The file that names what the numbers were made from."""
    add_path(parser, "--fingerprints", "file that names what the numbers were made from")


def add_released(parser: argparse.ArgumentParser) -> None:
    """The estimates that a report is made of."""
    parser.add_argument(
        "estimates", type=Path, nargs="+", help="files of estimates after small groups were hidden"
    )


def add_invented(parser: argparse.ArgumentParser) -> None:
    """Whether a page says that its records are invented."""
    parser.add_argument(
        "--invented", action="store_true", help="say that nobody in the pool exists"
    )
