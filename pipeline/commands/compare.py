"""Say which answers moved between two releases, and whether records, plan or program did."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.releases.compare import Comparison
    from pipeline.releases.package import Package


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "compare",
        help="say which answers moved between two releases",
        description=(
            "Compares the numbers of two kept releases that have a 95 % confidence interval: which "
            "later value lies outside the earlier interval, and which question got or lost an "
            "answer. Says, too, whether records, plan, program or libraries differ. Single sites "
            "are left out, since their letters are drawn for each release. With --rerun it says of "
            "each answer which of records, plan and program moved it: both releases and every "
            "combination of what differs are made again, so that no order of the changes is "
            "assumed, in a folder of temporary files that is deleted at the end. What it says "
            "then was not audited: keep it where the records are."
        ),
    )
    parser.add_argument("earlier", type=Path, help="folder of a release, as results/release/2")
    parser.add_argument("later", type=Path, help="folder of another, as results/release/3")
    parser.add_argument("--out", type=Path, help="file to write all rows to, as .csv")
    pair = {"type": Path, "nargs": 2, "metavar": ("EARLIER", "LATER")}
    parser.add_argument(
        "--rerun", **pair, help="run again; the folders of deliveries that they were made from"
    )
    parser.add_argument(
        "--plans", **pair, help="their plans (default: config of the program of each)"
    )
    parser.add_argument(
        "--programs",
        **pair,
        help="folders of their programs (default: found in the project's history)",
    )
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
    print(f"Only in the earlier one: {len(compared.gone):,}", flush=True)
    attributed = attribute(arguments, (earlier, later), compared) if arguments.rerun else None
    table = tabulate_comparison(compared) if attributed is None else attributed
    if arguments.out:
        write_table(table, arguments.out, owner_only=attributed is not None)
        print(f"The rows are in {arguments.out}")
    elif len(table):
        from pipeline.releases.attribute import drop_runs

        print()
        print(drop_runs(table).to_csv(index=False, sep="\t"), end="")


def attribute(
    arguments: argparse.Namespace, releases: "tuple[Package, Package]", compared: "Comparison"
) -> "pd.DataFrame | None":
    """Run again what differs and say what moved which answer; None, with a sentence, where there is
    nothing to run."""
    from pipeline.desk.place import make_place
    from pipeline.releases.attribute import attribute_answers, count_causes, list_touched
    from pipeline.releases.compare import CAUSES, list_differences
    from pipeline.releases.programs import NoProgram
    from pipeline.releases.rerun import NotTheSame, rerun_all, stopping_at_signals

    touched = list_touched(compared)
    causes = list_differences(*(release.made_from for release in releases))
    if not touched:
        print("No answer moved, came or went: nothing is run again.")
        return None
    if len(causes) < 2:
        where = f"in {CAUSES[causes[0]]} alone" if causes else "in none"
        print(f"Of records, plan and program they differ {where}: nothing is run again.")
        return None
    try:
        with stopping_at_signals(), make_place() as place:
            sources = find_sources(arguments, releases, place)
            reruns = rerun_all(sources, causes, touched, place, say)
            attributed = attribute_answers(compared, reruns)
    except (NoProgram, NotTheSame) as fault:
        sys.exit(str(fault))
    print("\nBefore protection, and not audited: keep this where the records are.\n")
    print(count_causes(attributed).to_csv(index=False, sep="\t"), end="")
    return attributed


def find_sources(arguments: argparse.Namespace, releases: tuple, place: Path) -> tuple:
    """What both releases were made from, as it was named or as the history has it."""
    from pipeline.releases.programs import find_program, has_other_lock
    from pipeline.releases.rerun import Source

    sources = []
    for number, package in enumerate(releases):
        program = (
            arguments.programs[number].resolve()
            if arguments.programs
            else find_program(package.made_from.get("code", ""), place / f"program-{number}")
        )
        plan = arguments.plans[number] if arguments.plans else program / "config"
        sources.append(Source(package, arguments.rerun[number], plan, program))
        if has_other_lock(program):
            say(f"The program of release {package.number} is run with the libraries of this one.")
    return tuple(sources)


def write_table(table: "pd.DataFrame", path: Path, *, owner_only: bool) -> None:
    """Write the rows; for the owner's eyes what was not audited."""
    from pipeline.results import limit_rights

    if owner_only:
        path.touch(0o600)
        limit_rights(path)
    table.to_csv(path, index=False)


def say(text: str) -> None:
    """A line on how far it is."""
    print(text, file=sys.stderr, flush=True)
