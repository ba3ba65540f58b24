"""Reading a delivery: every text of its files with its place.

Nothing is judged here, and no failure quotes what was read.
"""

import os
import re
from pathlib import Path

from pipeline.intake.container import MOST_FILES, find_danger
from pipeline.intake.folders import find_stand_in
from pipeline.intake.form import OTHER_FORMS, TEXTS, find_mismatch
from pipeline.intake.handed import SPELLED_OTHERWISE, Handed, Loose, Sheet, name_safely, name_table
from pipeline.intake.problem import Problem
from pipeline.intake.progress import Notify, silent
from pipeline.intake.read_csv import NoTable, read_csv
from pipeline.intake.recognise import BY_COLUMNS, recognise_sheets, rename
from pipeline.intake.version import find_version, keep_to_version
from pipeline.sources import fingerprint_files
from schemas.codes import SITE_CODE, TABLE
from schemas.site_map import SiteMap, spell_plainly

PLAIN = SiteMap()  # of a site without names of its own
MOST_NAMED = 6
UNOPENED = ("unreadable", "not_opened", "stands_for_another")
OF_A_DELIVERY = re.compile(rf"{SITE_CODE}[_-][0-9]{{3}}(?:_marked[0-9]*)?")
LEFT_BY_COMPUTERS = re.compile(r"\.|~\$|(?:thumbs\.db|desktop\.ini)$", re.IGNORECASE)


def read_delivery(folder: Path, site_map: SiteMap = PLAIN, notify: Notify = silent) -> Handed:
    """All that the files of a delivery hold; `site_map` holds the site's names of things.

    What cannot be read is a problem, not an error.

    The fingerprint is over the names and bytes of all files but those that computers leave behind.
    """
    if linked := next((path for path in (folder.parent, folder) if find_stand_in(path)), None):
        return Handed(
            "", fingerprint_files([], folder), (), (), (tell_stand_in(linked, linked.name),)
        )
    files = sorted(folder.iterdir()) if folder.is_dir() else []
    places = {path: f"file {number}" for number, path in enumerate(files, 1)}
    skipped = [path for path in files if LEFT_BY_COMPUTERS.match(path.name)]
    handed = [path for path in files if path not in skipped]
    stand_ins = [path for path in handed if find_stand_in(path)]
    tables = [path for path in handed if may_be_table(path, site_map) and may_hold(path)]
    workbooks = [path for path in tables if path.suffix.lower() == ".xlsx"]
    sheets: list[Sheet] = []
    loose = [Loose(path.stem, places[path], "file name", "file") for path in handed]
    problems = [
        Problem("read_with_help", places[path], also="A file of the computer was skipped.")
        for path in skipped
    ]
    others = [path for path in handed if path.suffix.lower() in OTHER_FORMS and may_hold(path)]
    problems += [Problem("other_form", name_file(path, places[path])) for path in others]
    problems += [tell_stand_in(path, places[path], site_map) for path in stand_ins]
    strays = [path for path in handed if path not in (*tables, *others, *stand_ins)]
    problems += [Problem("stray_file", name_file(path, places[path])) for path in strays]
    if (
        not (tables or others or stand_ins)
        or (workbooks and len(tables) > 1)
        or len(handed) > MOST_FILES
    ):
        names_of_tables = " and ".join(
            call_table_file(path, places[path]) for path in tables[:MOST_NAMED]
        )
        also = (
            f"In its folder are {names_of_tables}."
            if len(tables) > 1
            else ""
            if handed
            else "There is no file in its folder."
        )
        problems.append(Problem("no_tables", also=also))
        tables = []
    for path in tables:
        its_sheets, its_loose, its_problems = read_file(path, places[path], site_map, notify)
        sheets += its_sheets
        loose += its_loose
        problems += its_problems
    known = recognise_sheets(sheets, site_map)
    sheets = [known.get(sheet.table, sheet) for sheet in sheets]
    version = find_version(sheets)
    sheets = [keep_to_version(sheet, version) for sheet in sheets]
    loose, problems = list(rename(loose, known)), list(rename(problems, known))
    problems += [
        Problem("read_with_help", sheet.table, also=BY_COLUMNS) for sheet in known.values()
    ]
    if tables:
        names = {
            path: name_table(path.stem, places[path], site_map)
            for path in tables
            if path not in workbooks
        }
        called = {
            name: [call_table_file(p, places[p]) for p in names if names[p] == name]
            for name in TABLE
        }
        problems += compare_with_tables(sheets, problems, called)
    form = "" if not tables else "workbook" if workbooks else "csv"
    fingerprint = fingerprint_files([path for path in handed if may_read(path)], folder)
    return Handed(form, fingerprint, tuple(sheets), tuple(loose), tuple(problems))


def may_read(path: Path) -> bool:
    """Whether a file is there and can be opened: another one is a problem already,
    and has no fingerprint."""
    return may_hold(path) and os.access(path, os.R_OK)


def may_hold(path: Path) -> bool:
    """Whether a path is a file of its own: what is reached through a link may be another
    site's."""
    return path.is_file() and not find_stand_in(path)


def tell_stand_in(path: Path, place: str, site_map: SiteMap = PLAIN) -> Problem:
    """The problem of a link or device, under the table that it is called as, if it is."""
    name = name_table(path.stem, "", site_map) if may_be_table(path, site_map) else ""
    name = name if name in TABLE else name_file(path, place)
    return Problem("stands_for_another", name, also=f"It is {find_stand_in(path)}.")


def may_be_table(path: Path, site_map: SiteMap) -> bool:
    """Whether a file is taken for a table or a workbook: text files other than .csv only if they
    are called as a table."""
    suffix = path.suffix.lower()
    return suffix in (".csv", ".xlsx") or (
        suffix in TEXTS and name_table(path.stem, "", site_map) in TABLE
    )


def name_file(path: Path, place: str) -> str:
    """How a file that is no table may be called aloud: by its name,
    or by its place among the files of the folder."""
    usual = re.fullmatch(r"(?:\.[a-z0-9]{1,4})?", path.suffix.lower())
    return path.name.lower() if usual and name_safely(path.stem, place) != place else place


def call_table_file(path: Path, place: str) -> str:
    """How a file that holds tables may be called aloud: by its name where that is only a table,
    or a site and delivery, otherwise by its place."""
    plain = spell_plainly(path.stem) in TABLE or OF_A_DELIVERY.fullmatch(path.stem)
    return path.name if plain else name_file(path, place)


def read_file(
    path: Path, place: str, site_map: SiteMap, notify: Notify
) -> tuple[list[Sheet], list[Loose], list[Problem]]:
    """Read the tables of one file.

    Parameters
    ----------
    path
        The file.
    place
        How it is called where its name must not be repeated.
    site_map
        The site's own names of things.
    notify
        Hears what is done.

    Returns
    -------
    tuple of list
        Its tables, its texts outside of cells, and what went wrong on reading or was met that the
        dictionary does not describe.
    """
    is_workbook = path.suffix.lower() == ".xlsx"
    name = name_file(path, place) if is_workbook else name_table(path.stem, place, site_map)
    notify(f"reading {'the workbook' if is_workbook else name}")
    try:
        if mismatch := find_mismatch(path):
            return [], [], [Problem("unreadable", name, also=mismatch)]
        if danger := find_danger(path):
            return [], [], [Problem("not_opened", name, also=danger)]
        if is_workbook:
            from pipeline.intake.read_workbook import (
                read_workbook,
            )  # openpyxl is slow to import, and .csv files need none of it

            return read_workbook(path, site_map)
        sheet, met = read_csv(path.read_bytes(), path.stem, place, site_map)
    except NoTable as fault:
        return [], [], [Problem("unreadable", name, also=str(fault))]
    except FileNotFoundError:
        return (
            [],
            [],
            [
                Problem(
                    "unreadable", name, also="It was there when the folder was listed, and is gone."
                )
            ],
        )
    except Exception as error:  # whatever a broken file raises, its message could quote the file
        return [], [], [Problem("unreadable", name, also=f"({type(error).__name__})")]
    met += [SPELLED_OTHERWISE] if sheet.table in TABLE and path.stem.lower() != sheet.table else []
    return [sheet], [], [Problem("read_with_help", sheet.table, also=sentence) for sentence in met]


def compare_with_tables(
    sheets: list[Sheet], problems: list[Problem], files: dict[str, list[str]]
) -> list[Problem]:
    """Which of the five tables are missing or there twice, and which sheets are none of them;
    `files` are those that hold one table each."""
    names = [sheet.table for sheet in sheets]
    unread = {problem.table for problem in problems if problem.rule in UNOPENED}
    whole_book_unread = bool(unread) and not sheets
    faults = [
        Problem("table_missing", name)
        for name in TABLE
        if name not in {*names, *unread} and not whole_book_unread
    ]
    faults += [
        Problem(
            "table_twice",
            name,
            also=f"Its files are {' and '.join(files[name])}." if len(files[name]) > 1 else "",
        )
        for name in TABLE
        if names.count(name) > 1
    ]
    return faults + [Problem("table_unknown", name) for name in sorted(set(names) - set(TABLE))]
