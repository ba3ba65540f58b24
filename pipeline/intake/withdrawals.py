"""Patients who withdrew their consent: their rows leave before anything is judged or kept,
and only their number is left.

`<site>/withdrawn.csv` beside the deliveries of a site has one column, patient_id. It holds for all
deliveries of the site, earlier ones too. Only the episodes table says whose an episode is, so that
an episode is theirs if any delivery of the site says so: a test may be handed in again after its
episode was left out.
"""

import csv
import re
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.intake.container import find_in_text
from pipeline.intake.folders import NUMBER, find_stand_in, is_list_of_withdrawn, list_folders
from pipeline.intake.folders import WITHDRAWN as NAME
from pipeline.intake.handed import tidy
from pipeline.intake.parse import match_columns
from pipeline.intake.problem import DESCRIBED, Problem
from pipeline.intake.read import read_delivery
from schemas.delivery import CODE
from schemas.site_map import SiteMap

COLUMN = "patient_id"
Texts = dict[str, pd.DataFrame]


@dataclass(frozen=True)
class Withdrawals:
    """Those of a site who withdrew.

    Attributes
    ----------
    patients
        Their pseudonyms.
    episodes
        Codes of their episodes.
    problems
        What is wrong with the list of them.
    """

    patients: frozenset[str]
    episodes: frozenset[str]
    problems: list[Problem]


def read_withdrawals(site_folder: Path, site_map: SiteMap) -> Withdrawals:
    """What the list of a site says, with the episodes that all its deliveries say are theirs: they
    are read for it, so that one call serves all deliveries of the site."""
    patients, problems = read_withdrawn(site_folder)
    return Withdrawals(patients, list_their_episodes(site_folder, patients, site_map), problems)


def read_withdrawn(site_folder: Path) -> tuple[frozenset[str], list[Problem]]:
    """The pseudonyms of those who withdrew; a list that cannot be understood refuses the delivery,
    lest somebody stays who should not.

    A file that is called nearly like the list is no list either: it must not be overlooked.
    """
    path = site_folder / NAME
    meant = [other for other in site_folder.iterdir() if is_list_of_withdrawn(other)]
    if not meant:
        return frozenset(), []
    for other in meant:
        if stand_in := find_stand_in(other):
            also = f"It is {stand_in}: put the file itself in its place, as a copy."
            return frozenset(), [Problem("withdrawals_unclear", NAME, also=also)]
    filled = read_lines(path) if meant == [path] else []
    codes = frozenset(cell.upper() for row in filled[1:] for cell in row)
    clear = (
        filled
        and [cell.lower() for cell in filled[0]] == [COLUMN]
        and all(len(row) == 1 for row in filled)
    )
    if not clear or not all(re.fullmatch(CODE, code) for code in codes):
        return frozenset(), [Problem("withdrawals_unclear", NAME)]
    return codes, []


def read_lines(path: Path) -> list[list[str]]:
    """The lines that are not empty, an empty cell as an empty text;
    none where the file is no such text."""
    try:
        if find_in_text(path):
            return []
        rows = list(csv.reader(path.read_text("utf-8-sig").splitlines()))
    except (OSError, UnicodeDecodeError, csv.Error):
        return []
    return [[tidy(cell) or "" for cell in row] for row in rows if any(map(tidy, row))]


def list_their_episodes(
    site_folder: Path, withdrawn: frozenset[str], site_map: SiteMap
) -> frozenset[str]:
    """The episodes of those who withdrew, from the episodes tables of all deliveries of the site,
    refused ones too."""
    if not withdrawn:
        return frozenset()
    folders = [folder for folder in list_folders(site_folder) if NUMBER.fullmatch(folder.name)]
    sheets = [
        sheet
        for folder in folders
        for sheet in read_delivery(folder, site_map).sheets
        if sheet.table == "episodes"
    ]
    tables = [match_columns(sheet, DESCRIBED["episodes"])[0] for sheet in sheets]
    return frozenset(
        code
        for rows in tables
        for code in rows["episode_id"][find_codes(rows[COLUMN], withdrawn)].dropna().str.upper()
    )


def find_codes(texts: pd.Series, codes: frozenset[str] | set[str]) -> pd.Series:
    """Where one of the codes stands; a text that is not formed as a code is compared by its letters
    and digits, as PT_1 with PT-1."""
    upper = texts.astype("string").str.upper()
    slips = ~upper.str.fullmatch(CODE).fillna(True) & upper.map(strip_code).isin(
        {strip_code(code) for code in codes}
    )
    return upper.isin(codes) | slips.fillna(False)


def strip_code(text: str | None) -> str:
    """The letters and digits of a code."""
    return re.sub(r"[^A-Z0-9]", "", text) if isinstance(text, str) else ""


def leave_out(
    texts: Texts, withdrawn: frozenset[str], episodes: frozenset[str]
) -> tuple[Texts, dict[str, set[int]]]:
    """Leave out the rows of those who withdrew.

    Parameters
    ----------
    texts
        By table the cells as handed in.
    withdrawn
        Pseudonyms of those who withdrew.
    episodes
        Episodes that any delivery says are theirs. Where this delivery gives the code of such an
        episode to somebody else alone, it is that patient's, since a site may have given the code
        anew.

    Returns
    -------
    tuple of dict
        By table the cells that stay, and the numbers of the rows that are gone.
    """
    rows = texts["episodes"]
    episode_ids, theirs = (
        rows["episode_id"].astype("string").str.upper(),
        find_codes(rows[COLUMN], withdrawn),
    )
    others = set(episode_ids[rows[COLUMN].notna() & ~theirs].dropna())
    codes = set(episode_ids[theirs].dropna()) | (episodes - others)
    gone = {
        name: set(table.index[find_codes(table["episode_id"], codes)])
        for name, table in texts.items()
    }
    gone["episodes"] |= set(rows.index[theirs])
    return {name: table.drop(index=sorted(gone[name])) for name, table in texts.items()}, gone
