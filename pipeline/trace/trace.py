"""One number traced: what is said for everybody, and what is said where the store is."""

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

import pandas as pd

from pipeline.analyses.plan import ANALYSES
from pipeline.releases.package import NoRelease, Package, read_package
from pipeline.results import RELEASES, WAREHOUSE
from pipeline.trace.lines import (
    say_code,
    say_plan,
    say_printed,
    say_rerun,
    say_sites,
    say_sources,
)
from pipeline.trace.released import Printed, find_printed, read_as_printed
from pipeline.trace.rerun import Rerun, find_members, name_sites, read_codes, rerun_analysis
from schemas.estimate import Estimates

UNRELEASED, LATEST, OWNER_ONLY = "unreleased", "latest.csv", 0o600


class CannotWrite(Exception):
    """The episodes of a number cannot be written; the message is a sentence."""


def trace_number(
    named: tuple[str, str, Sequence[str]],
    results: Path,
    release: Path | None,
    plan: Path,
    episodes: Path | None,
) -> Iterator[str]:
    """Trace a released number.

    Parameters
    ----------
    named
        Analysis, quantity and the parts of its stratum.
    results
        Folder of the results, whose newest release is meant.
    release
        Folder of another release; None for the newest.
    plan
        Folder of the plan.
    episodes
        File for the episodes that are counted, which must not exist; None for none.

    Yields
    ------
    str
        What is known, line by line.

    Raises
    ------
    NoRelease, NoSuchRow, CannotWrite
        Each with a sentence.
    """
    package = read_package(release or find_latest(results))
    found = find_printed(package, *named)
    if episodes and len(found) > 1:
        raise CannotWrite(
            f"{len(found)} numbers have this name: narrow it by endpoint=, population= or "
            "comparison=. Nothing was written."
        )
    for printed in found:
        yield from say_printed(printed, package)
        yield ""
    yield from say_code(named[0])
    yield from say_sources(package, plan)
    yield ""
    store = find_store(package)
    if named[0] not in ANALYSES:
        lacking = "It compares with what was planted in the demonstration, and is not run again."
    elif store is None:
        lacking = (
            "Sites, episodes and the values of the plan are told where the store of this release "
            "lies beside it, that is, in the results of the run that made it."
        )
    else:
        lacking = ""
    if lacking or store is None:
        if episodes:
            raise CannotWrite(f"{lacking} Nothing was written.")
        yield lacking
        return
    rerun = rerun_analysis(named[0], store / WAREHOUSE, plan)
    yield from say_plan(rerun)
    for printed in found:
        yield ""
        yield from trace_in_store(printed, rerun, store, episodes)


def find_latest(results: Path) -> Path:
    """The newest release of a folder of results; raises NoRelease if it has none."""
    latest = results / RELEASES / LATEST
    if not latest.exists():
        raise NoRelease(
            f"{results} holds no release: run the workflow first, or name its results with "
            "--results, or a release with --release."
        )
    return results / RELEASES / str(pd.read_csv(latest, dtype=str)["folder"].iloc[0])


def find_store(package: Package) -> Path | None:
    """The results with the store that a release was made from, where it lies among them."""
    results = package.folder.resolve().parent.parent
    used = results / UNRELEASED / "fingerprints.csv"
    if not (results / WAREHOUSE).exists() or not used.exists():
        return None
    values = pd.read_csv(used, dtype=str).set_index("name")["value"]
    same = values.get("deliveries") == package.made_from.get("deliveries")
    return results if same and package.folder.parent.name == RELEASES else None


def trace_in_store(
    printed: Printed, rerun: Rerun, store: Path, episodes: Path | None
) -> Iterator[str]:
    """What the store says of one row; its episodes go to a file alone."""
    key = {column: printed.row[column] for column in Estimates.key()}
    named = name_sites(key, read_codes(read_unreleased(store)))
    place = rerun.find_row(named)
    if place is None:
        yield "Store: this row does not come again from the store, the plan and the program here."
        if episodes:
            raise CannotWrite("Nothing was written.")
        return
    stated = read_as_printed(store / UNRELEASED / f"{key['analysis']}.csv")
    for column, value in named.items():
        stated = stated[stated[column].eq(value)]
    yield from say_rerun(rerun, place, "" if stated.empty else stated["estimate"].iloc[0])
    members = find_members(rerun, place)
    yield from say_sites(members)
    if episodes is None:
        return
    if members.episodes is None:
        raise CannotWrite("Which episodes are counted is not told: nothing was written.")
    descriptor = os.open(episodes, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWNER_ONLY)
    with os.fdopen(descriptor, "w", encoding="utf-8", newline="") as file:
        members.episodes.to_csv(file, index=False, lineterminator="\n")
    yield f"  {len(members.episodes):,} episodes are in {episodes}: it stays where the records are"


def read_unreleased(results: Path) -> pd.DataFrame:
    """All rows before protection, as the release was made from them."""
    return pd.concat(
        [Estimates.cast(pd.read_csv(results / UNRELEASED / f"{name}.csv")) for name in ANALYSES],
        ignore_index=True,
    )
