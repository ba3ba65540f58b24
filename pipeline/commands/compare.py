"""Say which answers moved between two releases, and whether records, plan or program did."""

import argparse
import sys
from pathlib import Path


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "compare",
        help="say which answers moved between two releases",
        description=(
            "Compares the numbers of two kept releases that have a 95 % confidence interval: which "
            "later value lies outside the earlier interval, and which question got or lost an "
            "answer. Says, too, whether records, plan, program or libraries differ. Single sites "
            "are left out, since their letters are drawn for each release."
        ),
    )
    parser.add_argument("earlier", type=Path, help="folder of a release, as results/release/2")
    parser.add_argument("later", type=Path, help="folder of another, as results/release/3")
    parser.add_argument("--out", type=Path, help="file to write all rows to, as .csv")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Print the comparison; a folder without a release ends with a sentence."""
    from pipeline.releases.compare import compare_releases, list_causes, tabulate_comparison
    from pipeline.releases.package import NoRelease, read_package

    try:
        earlier, later = read_package(arguments.earlier), read_package(arguments.later)
    except NoRelease as fault:
        sys.exit(str(fault))
    compared = compare_releases(earlier, later)
    causes = list_causes(earlier.made_from, later.made_from)
    print(f"Release {earlier.number} and release {later.number}")
    print(f"Different: {', '.join(causes) if causes else 'nothing that they were made from'}")
    print(f"Numbers with a 95 % confidence interval in both: {compared.compared:,}")
    print(f"Outside the earlier interval: {len(compared.moved):,}")
    print(f"Only in the later one: {len(compared.came):,}")
    print(f"Only in the earlier one: {len(compared.gone):,}")
    table = tabulate_comparison(compared)
    if arguments.out:
        table.to_csv(arguments.out, index=False)
        print(f"The rows are in {arguments.out}")
    elif len(table):
        print()
        print(table.to_csv(index=False, sep="\t"), end="")
