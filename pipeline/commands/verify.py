"""Prove that a kept release is as it was made."""

import argparse
import sys
from pathlib import Path


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "verify",
        help="prove that a kept release is as it was made",
        description=(
            "Computes the SHA-256 of every file of a release again and says which differ from what "
            "the release says of itself, with exit code 1 if any does. It needs nothing but the "
            "folder. Whoever could have changed the description too is told by its own SHA-256: "
            "compare it with the one that the run printed."
        ),
    )
    parser.add_argument("release", type=Path, help="its folder, as results/release/3")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Print what the release was made from, and every change since."""
    from pipeline.releases.package import (
        PACKAGE,
        NoRelease,
        find_changes,
        read_package,
    )
    from pipeline.results import fingerprint

    try:
        package = read_package(arguments.release)
    except NoRelease as fault:
        sys.exit(str(fault))
    width = max(map(len, package.made_from))
    for name, value in package.made_from.items():
        print(f"{name:{width}}  {value}")
    print(f"\nSHA-256 of {PACKAGE}: {fingerprint(package.folder / PACKAGE)}")
    changes = find_changes(package)
    if changes:
        sys.exit("\n".join(f"Changed: {change}." for change in changes))
    print(f"All {len(package.hashes)} files are as they were released.")
