"""Deliveries as folders: which are there, and which are taken in by one process.

Nothing is reached through a link, since it could lead to the records of another site.
"""

import hashlib
import os
import re
import stat
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from schemas.codes import SITE_CODE

SITE, NUMBER = re.compile(SITE_CODE), re.compile(r"[0-9]{3}")
NAMED = (
    "a site's folder is named S and two or three digits, a delivery's in it three digits, such as "
    "S03/001."
)
LINK = "a link"
LINKED = (
    "it is a link, which could lead to the records of another site and is not followed: put the "
    "folder itself in its place, as a copy."
)
JUNCTION = 0xA0000003  # tag of Windows for a folder that stands for another one ([MS-FSCC] 2.1.2.1)
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
        All files in it, and what stands in place of one.
    withdrawn
        Beside it the lists of those who withdrew from the site: one, if all is well.
    """

    site: str
    number: str
    folder: Path
    files: tuple[Path, ...]
    withdrawn: tuple[Path, ...] = ()


def list_deliveries(submissions: Path) -> tuple[list[Delivery], dict[str, str]]:
    """The deliveries in order of site and number, and by name the folders that are none, each with
    a sentence that says why."""
    deliveries, skipped = [], {}
    for site in list_folders(submissions):
        if not SITE.fullmatch(site.name):
            skipped[site.name] = NAMED
            continue
        if find_stand_in(site):
            skipped[site.name] = LINKED
            continue
        for folder in list_folders(site):
            if NUMBER.fullmatch(folder.name):
                withdrawn = tuple(sorted(filter(is_list_of_withdrawn, site.iterdir())))
                files = tuple(list_files(folder))
                deliveries.append(Delivery(site.name, folder.name, folder, files, withdrawn))
            else:
                skipped[f"{site.name}/{folder.name}"] = NAMED
    return deliveries, skipped


def find_stand_in(path: Path) -> str | None:
    """What stands where a file or folder of its own should; None if it is one, or is not there."""
    try:
        status = path.lstat()
    except FileNotFoundError:
        return None
    if stat.S_ISLNK(status.st_mode) or getattr(status, "st_reparse_tag", 0) == JUNCTION:
        return LINK
    if stat.S_ISREG(status.st_mode) or stat.S_ISDIR(status.st_mode):
        return None
    return "a pipe" if stat.S_ISFIFO(status.st_mode) else "a device"


def is_list_of_withdrawn(path: Path) -> bool:
    """Whether something beside the deliveries of a site is its list of those who withdrew,
    or is called so nearly alike that it may be meant, whatever it is."""
    return path.name.casefold().startswith(Path(WITHDRAWN).stem[:8])


def list_folders(parent: Path) -> list[Path]:
    """The folders within `parent` that are not hidden, in order of their names; among them are
    links that are called as a site or a delivery, wherever they lead."""
    return sorted(
        path
        for path in parent.iterdir()
        if not path.name.startswith(".")
        and (path.is_dir() or (is_folder_name(path.name) and find_stand_in(path)))
    )


def is_folder_name(name: str) -> bool:
    """Whether something is called as a site or a delivery."""
    return bool(SITE.fullmatch(name) or NUMBER.fullmatch(name))


def list_files(folder: Path) -> list[Path]:
    """Everything beneath a folder that is no folder, in order; of a link nothing."""
    if find_stand_in(folder):
        return []
    return sorted(
        Path(place) / name
        for place, folders, files in os.walk(folder)
        for name in [*files, *(name for name in folders if find_stand_in(Path(place) / name))]
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
            sum(read_size(path) for delivery in deliveries_of_site for path in delivery.files)
            >= LARGE_BYTES
        )
        key = (site,) if large else ("", int(site[1:]) // SITES_PER_BATCH)
        batches.setdefault(key, []).extend(deliveries_of_site)
    return list(batches.values())


def fingerprint_state(deliveries: list[Delivery]) -> str:
    """A SHA-256 over the names and bytes of the files and lists of deliveries: another one asks for
    another intake.

    Times tell nothing: a file that was put back from a copy is older than what it replaces.
    """
    total = hashlib.sha256()
    for delivery in deliveries:
        for path in (*delivery.files, *delivery.withdrawn):
            name = path.relative_to(delivery.folder.parent.parent).as_posix()
            total.update(f"{name}\0".encode("utf-8", "surrogateescape") + _fingerprint(path))
    return total.hexdigest()


def read_size(path: Path) -> int:
    """Bytes of a file; none of one that has vanished since it was listed."""
    try:
        return path.lstat().st_size
    except FileNotFoundError:
        return 0


def _fingerprint(path: Path) -> bytes:
    """What a path holds, as 32 bytes; zeros for what cannot be read, such as a link."""
    if not find_stand_in(path):
        try:
            with path.open("rb") as file:
                return hashlib.file_digest(file, "sha256").digest()
        except OSError:  # it has vanished, may not be read, or is a folder: intake says which
            pass
    return bytes(hashlib.sha256().digest_size)
