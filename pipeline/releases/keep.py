"""Keep a release: what may leave, whole, in a folder of its own that is written once, at once, and
never changed. The earlier ones stay beside it."""

import os
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path

from pipeline.releases.package import (
    PACKAGE,
    NoRelease,
    describe_release,
    find_changes,
    read_package,
)
from pipeline.results import RELEASES, share_rights

BUILDING = "building"


def keep_release(results: Path, made: Iterable[Path], made_from: Mapping[str, str]) -> Path:
    """Copy what was made into the folder of its release, unless it is kept there already.

    Parameters
    ----------
    results
        The folder of results.
    made
        Files and folders within it that may leave.
    made_from
        Number of the release and what it was made from.

    Returns
    -------
    Path
        `results/release/3`, or `3-2` where release 3 was kept before with the same number and
        other bytes: pages of another program or plan, or a folder that was changed since.
    """
    files = {
        path.relative_to(results).as_posix(): path
        for each in made
        for path in ([each] if each.is_file() else sorted(each.rglob("*")))
        if path.is_file() and not path.name.startswith(".")  # Snakemake leaves one in a folder
    }
    text, number = describe_release(files, made_from), made_from["release"]
    printings = _list_printings(results / RELEASES, number)
    for folder in printings.values():
        if _is_kept(folder, text):
            return folder
    last = max(printings, default=0)
    kept = results / RELEASES / (f"{number}-{last + 1}" if last else number)
    building = results / RELEASES / BUILDING
    shutil.rmtree(building, ignore_errors=True)
    for path, file in files.items():
        (building / path).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(file, building / path)
    (building / PACKAGE).write_text(text, "utf-8")
    for each in (building, *sorted(building.rglob("*"))):
        share_rights(each)
    os.rename(building, kept)
    return kept


def _list_printings(releases: Path, number: str) -> dict[int, Path]:
    """The folders of a release by the number of their printing, the first one being 1."""
    printings = {}
    for path in releases.glob(f"{number}*"):
        of, _, printing = path.name.partition("-")
        if of == number and (printing.isdigit() or path.name == number):
            printings[int(printing or 1)] = path
    return dict(sorted(printings.items()))


def _is_kept(folder: Path, text: str) -> bool:
    try:
        package = read_package(folder)
    except NoRelease:
        return False
    return (folder / PACKAGE).read_text("utf-8") == text and not find_changes(package)
