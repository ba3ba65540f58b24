"""What the tools' command lines have in common."""

import argparse
import sys
from pathlib import Path

from pipeline.sources import ROOT


def add_plan(parser: argparse.ArgumentParser) -> None:
    """The plan that a tool goes by."""
    parser.add_argument(
        "--plan",
        type=Path,
        default=ROOT / "config",
        help="folder with the plan (default: the project's own)",
    )


def add_out_folder(parser: argparse.ArgumentParser) -> None:
    """The folder that a tool writes several files to."""
    parser.add_argument(
        "--out", type=Path, default=Path("."), help="folder to write to (default: here)"
    )


def make_folder(path: Path) -> None:
    """Make the folder to write to if it is not there; a file in its place ends with a sentence."""
    if path.exists() and not path.is_dir():
        sys.exit(f"{path} is a file: name a folder")
    path.mkdir(parents=True, exist_ok=True)
