"""Deliveries as folders: which are there, and which are taken in by one process."""

import hashlib
import re
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from schemas.codes import SITE_CODE

SITE, NUMBER = re.compile(SITE_CODE), re.compile(r"[0-9]{3}")
NAMED = (
    "a site's folder is named S and two or three digits, a delivery's in it three digits, such as "
    "S03/001."
)
WITHDRAWN = "withdrawn.csv"  # beside the deliveries of a site, and true for all of them
SITES_PER_BATCH = 5  # starting a process costs as much as checking a few small sites
LARGE_BYTES = 2_000_000  # a site of this size is worth a process of its own


@dataclass(frozen=True)
class Delivery:
    """One folder .../<site>/<number>.

    Attributes
    ----------
    site, number
        As the folders are called.
    folder
        Where it is.
    files
        All files in it.
    withdrawn
        Beside it the lists of those who withdrew from the site: one, if all is well.
    """

    site: str
    number: str
    folder: Path
    files: tuple[Path, ...]
    withdrawn: tuple[Path, ...] = ()


def list_deliveries(submissions: Path) -> tuple[list[Delivery], list[str]]:
    """The deliveries in order of site and number, and the names of folders that are none."""
    deliveries, skipped = [], []
    for site in list_folders(submissions):
        if not SITE.fullmatch(site.name):
            skipped.append(site.name)
            continue
        for folder in list_folders(site):
            if NUMBER.fullmatch(folder.name):
                files = tuple(sorted(path for path in folder.rglob("*") if path.is_file()))
                withdrawn = tuple(
                    sorted(path for path in site.iterdir() if is_list_of_withdrawn(path))
                )
                deliveries.append(Delivery(site.name, folder.name, folder, files, withdrawn))
            else:
                skipped.append(f"{site.name}/{folder.name}")
    return deliveries, skipped


def is_list_of_withdrawn(path: Path) -> bool:
    """Whether a file of a site is its list of those who withdrew,
    or is called so nearly alike that it may be meant."""
    return path.name.casefold().startswith(Path(WITHDRAWN).stem[:8]) and path.is_file()


def list_folders(parent: Path) -> list[Path]:
    """The folders within `parent` that are not hidden, in order of their names."""
    return sorted(
        path for path in parent.iterdir() if path.is_dir() and not path.name.startswith(".")
    )


def batch_deliveries(deliveries: list[Delivery]) -> list[list[Delivery]]:
    """Deliveries by the process that takes them in; those of one site stay together,
    since each is compared with the one before.

    Small sites go together by their number, large ones alone: what another site hands in does not
    change a batch.
    """
    batches: dict[tuple, list[Delivery]] = {}
    for site, of_site in groupby(
        sorted(deliveries, key=lambda delivery: (delivery.site, delivery.number)), lambda d: d.site
    ):
        deliveries_of_site = list(of_site)
        large = (
            sum(
                read_size_and_time(path)[0]
                for delivery in deliveries_of_site
                for path in delivery.files
            )
            >= LARGE_BYTES
        )
        key = (site,) if large else ("", int(site[1:]) // SITES_PER_BATCH)
        batches.setdefault(key, []).extend(deliveries_of_site)
    return list(batches.values())


def fingerprint_state(deliveries: list[Delivery]) -> str:
    """A SHA-256 over the names, sizes and times of the files and lists of deliveries,
    without reading them: another one asks for another intake."""
    files = [path for delivery in deliveries for path in (*delivery.files, *delivery.withdrawn)]
    lines = "\n".join(f"{path.as_posix()} {read_size_and_time(path)}" for path in files)
    return hashlib.sha256(lines.encode("utf-8", "surrogateescape")).hexdigest()


def read_size_and_time(path: Path) -> tuple[int, int]:
    """Size in bytes and time of the last change in nanoseconds;
    zeros for a file that has vanished since it was listed."""
    try:
        status = path.stat()
    except FileNotFoundError:
        return 0, 0
    return status.st_size, status.st_mtime_ns
