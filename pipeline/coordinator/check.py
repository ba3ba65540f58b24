"""Checking what lies at a path before it is sent: it is found as the workflow would find it,
judged as intake judges it, and told in words."""

import os
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from pipeline.intake.folders import (
    LINKED,
    NAMED,
    NUMBER,
    SITE,
    find_stand_in,
    list_deliveries,
)
from pipeline.intake.form import OTHER_FORMS, TEXTS
from pipeline.intake.handed import Handed
from pipeline.intake.progress import Notify, silent
from pipeline.intake.read import read_delivery
from pipeline.intake.receive import Received, receive_delivery
from pipeline.intake.terminal import describe_check
from pipeline.intake.withdrawals import Withdrawals, read_withdrawals
from schemas.site_map import SiteMap
from schemas.study import Config

FINE, SET_ASIDE, REFUSED = 0, 1, 2
TABLE_FILES = (".xlsx", *TEXTS, *OTHER_FORMS)
WIDEST = 110
UNTOLD = "its site and delivery cannot be read"
NO_SITE = "S00"  # stands for the site where a lone file does not tell it


class Judged(NamedTuple):
    """A delivery at a path: its folder, what was read of it, what became of it, and the accepted
    delivery of its site before it."""

    folder: Path
    handed: Handed
    received: Received
    previous: Received | None


class NothingToCheck(Exception):
    """There is no delivery at a path; the message is a sentence for whoever named it."""


def check_path(
    path: Path,
    config: Config,
    site: str | None = None,
    *,
    mark: bool = False,
    notify: Notify = silent,
) -> int:
    """Print the verdict on each delivery at a path, write the marked copies that are asked for,
    and return the gravest exit code.

    `site` is whose own names a lone file is read by. Raises NothingToCheck where there is no
    delivery.
    """
    path = Path(os.path.abspath(path))  # as it is named: a link is not followed
    if not find_stand_in(path) and not path.exists():
        raise NothingToCheck(f"{path} does not exist.")
    if site and not SITE.fullmatch(site):
        raise NothingToCheck(f"{site} is no code of a site: S and two or three digits.")
    worst = FINE
    skipped = find_skipped(path)
    with find_folders(path, config, site, notify) as folders:
        if not folders and not skipped:
            refuse_stand_in(path)
            raise NothingToCheck(
                f"{path} is neither a workbook nor a folder with .csv files or deliveries."
            )
        judged = judge_folders(folders, config, notify)
        for number, (folder, handed, received, _) in enumerate(judged):
            notify("")
            untold = folder.parent.name == NO_SITE and path not in (
                folder,
                *folder.parents,
            )
            title = f"{path.name} ({UNTOLD})" if untold else ""
            width = min(shutil.get_terminal_size().columns, WIDEST)
            print(
                ("\n" + "-" * width + "\n" if number else "")
                + describe_check(received, width, title)
            )
            worst = max(worst, judge(received))
            if mark:
                notify("marking")
                marked_copy = write_marked(
                    folder, handed, received, choose_target(path, folder, len(folders))
                )
                notify("")
                print("\n" + marked_copy)
    for name, why in skipped.items():
        print(f"\n{name} would be skipped, not pooled: {why}")
        worst = max(worst, REFUSED)
    return worst


def judge_folders(
    folders: Mapping[Path, Handed | None], config: Config, notify: Notify = silent
) -> Iterator[Judged]:
    """Judge deliveries in their order, each against the last accepted one of its site before it;
    what was read of one beforehand stands beside its folder."""
    last_accepted: dict[str, Received] = {}
    withdrawals: dict[Path, Withdrawals] = {}
    for number, (folder, read) in enumerate(folders.items(), 1):
        which = f"{number} of {len(folders)}: " if len(folders) > 1 else ""

        def notify_which(message: str, which: str = which) -> None:
            notify(which + message)

        site_map, of_site = find_own(folder, config), folder.parent
        if of_site not in withdrawals:
            withdrawals[of_site] = read_withdrawals(of_site, site_map)
        handed = read or read_delivery(folder, site_map, notify_which)
        previous = last_accepted.get(of_site.name)
        received = receive_delivery(
            folder, config, previous, notify_which, handed, withdrawals[of_site]
        )
        if received.accepted:
            last_accepted[received.site] = received
        yield Judged(folder, handed, received, previous)


def choose_target(path: Path, folder: Path, n_folders: int) -> Path:
    """Where the marked copy goes: beside the file or folder that was named, never into a delivery,
    which it would break, nor over another file."""
    named = folder if n_folders > 1 or path in folder.parents else path
    if NUMBER.fullmatch(named.parent.name) and SITE.fullmatch(named.parent.parent.name):
        named = named.parent
    stem = re.sub(r"_marked\d*$", "", named.stem)
    targets = (
        named.with_name(f"{stem}_marked{number or ''}.xlsx") for number in (0, *range(2, 1_000))
    )
    return next(target for target in targets if not target.exists())


def write_marked(folder: Path, handed: Handed, received: Received, target: Path) -> str:
    """Write the marked copy of one delivery, and say where it is."""
    # nothing else here needs what writes workbooks
    from pipeline.coordinator.marked import mark_delivery

    marked = mark_delivery(folder, handed, received)
    if marked is None:
        unopened = received.tables["problems"]["severity"].eq("refuse").any()
        return (
            "No marked copy: the files cannot be opened."
            if unopened
            else "No marked copy: there is nothing to mend."
        )
    target.write_bytes(marked)
    return (
        f"{target} is written: every cell to mend is marked there. It holds your records: keep it "
        "where they are."
    )


def judge(received: Received) -> int:
    """The exit code for one delivery."""
    if not received.accepted:
        return REFUSED
    return SET_ASIDE if received.tables["row_counts"]["rows_set_aside"].sum() else FINE


@contextmanager
def find_folders(
    path: Path, config: Config, site: str | None = None, notify: Notify = silent
) -> Iterator[dict[Path, Handed | None]]:
    """The folders <site>/<delivery> to check; a file in such a folder is judged with all that is
    there, as the workflow does. Files that are not in such a folder are copied into one for the
    time of the check, called as their submission table says: what was read for that stands beside
    the folder."""
    place = find_place(path)
    if SITE.fullmatch(place.parent.name) and NUMBER.fullmatch(place.name):
        yield {place: None}
        return
    if SITE.fullmatch(path.name) and find_stand_in(path):
        yield {}
        return
    own_site = path.is_dir() and SITE.fullmatch(path.name)
    deliveries = list_deliveries(path.parent if own_site else path)[0] if path.is_dir() else []
    folders = [d.folder for d in deliveries if not own_site or d.site == path.name]
    files = (
        [path]
        if path.is_file()
        else sorted(p for p in path.iterdir() if p.suffix.lower() in TABLE_FILES)
    )
    if folders or not files:
        yield dict.fromkeys(folders)
        return
    with tempfile.TemporaryDirectory() as temporary:
        copied = Path(temporary) / "handed"
        copied.mkdir()
        for file in files:
            refuse_stand_in(file)
            shutil.copy(file, copied)
        site_map = config.sites.get(site or "", SiteMap())
        handed = read_delivery(copied, site_map, notify)
        folder = Path(temporary).joinpath(*read_names(handed, site))
        folder.parent.mkdir()
        copied.rename(folder)
        yield {folder: handed if find_own(folder, config) == site_map else None}


def refuse_stand_in(path: Path) -> None:
    """Raise NothingToCheck for a link or device."""
    if stand_in := find_stand_in(path):
        raise NothingToCheck(
            f"{path} is {stand_in} and no file or folder of its own, and is not opened: put a copy "
            "of the file or folder itself in its place."
        )


def find_own(folder: Path, config: Config) -> SiteMap:
    """The own names of the site in whose folder a delivery lies."""
    return config.sites.get(folder.parent.name, SiteMap())


def find_place(path: Path) -> Path:
    """The folder that a file lies in, or a folder itself."""
    return path if path.is_dir() else path.parent


def find_skipped(path: Path) -> dict[str, str]:
    """The folders at a path that hold tables and that the workflow would skip, with the reason:
    itself, or those in it."""
    place = find_place(path)
    if SITE.fullmatch(place.parent.name) or NUMBER.fullmatch(place.name):
        fits = SITE.fullmatch(place.parent.name) and NUMBER.fullmatch(place.name)
        return {} if fits else {f"{place.parent.name}/{place.name}": NAMED}
    if SITE.fullmatch(place.name):
        named = list_deliveries(place.parent)[1]
        if place.name in named:
            return {place.name: named[place.name]}
        return {
            name: why
            for name, why in named.items()
            if name.startswith(f"{place.name}/") and _holds_tables(place.parent / name)
        }
    deliveries, named = list_deliveries(place) if path.is_dir() else ([], {})
    return {
        name: why
        for name, why in named.items()
        if why == LINKED or (deliveries and _holds_tables(place / name))
    }


def _holds_tables(folder: Path) -> bool:
    return any(path.suffix.lower() in TABLE_FILES for path in folder.rglob("*"))


def read_names(handed: Handed, site: str | None) -> tuple[str, str]:
    """Site and number as the submission table gives them; S00 and 001 where it does not,
    and the check then says what is wrong with it."""
    sheet = handed.sheet("submission")
    stated: dict[str, str] = {}
    if sheet is not None:
        columns = {name: position for position, name in sheet.names.items()}
        if {"field", "value"} <= set(columns):
            fields, values = (
                sheet.cells[columns[name]].astype(object).fillna("") for name in ("field", "value")
            )
            stated = dict(zip(fields.str.lower(), values, strict=True))
    site, digits = (
        site or stated.get("site_code", "").upper(),
        re.sub(r"\D", "", stated.get("delivery", "")),
    )
    number = digits.zfill(3) if digits else "001"
    return site if SITE.fullmatch(site) else NO_SITE, number if NUMBER.fullmatch(number) else "001"
