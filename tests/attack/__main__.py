"""Attack a release: `python -m tests.attack RESULTS [--earlier RESULTS ...] [--site S01]`.

Exit code 1: a group of 1 to 10 people came out.
"""

import argparse
import sys
from pathlib import Path

from tests.attack.program import Contradiction
from tests.attack.released import read_release
from tests.attack.report import attack, describe_findings


def main() -> int:
    """Read the folders that the command line names, attack, and print what was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.attack", description=__doc__)
    parser.add_argument("results", type=Path, help="folder of a finished run")
    parser.add_argument(
        "--earlier",
        type=Path,
        nargs="*",
        default=[],
        help="folders of earlier releases, the earliest first",
    )
    parser.add_argument(
        "--site", help="see with the eyes of this site, which knows its own rows in the warehouse"
    )
    asked = parser.parse_args()
    releases = [read_release(folder) for folder in [*asked.earlier, asked.results]]
    if not all(release.rows for release in releases):
        print("no tables of estimates in one of these folders: is its run finished?")
        return 2
    try:
        findings = attack(releases[-1], releases[:-1], asked.site)
    except Contradiction as contradiction:
        print(f"no pool fits these tables: {contradiction}")
        return 2
    print("\n".join(describe_findings(findings)))
    return 1 if findings.any else 0


if __name__ == "__main__":
    sys.exit(main())
