"""Patients who withdrew their consent: their rows leave before anything is judged or kept, and only their number is left.

`<site>/withdrawn.csv` beside the deliveries of a site has one column, patient_id. It holds for all deliveries of the site, earlier ones too.
"""

import csv
from pathlib import Path

import pandas as pd

from pipeline.intake.folders import WITHDRAWN as NAME
from pipeline.intake.handed import tidy
from pipeline.intake.problem import Problem

COLUMN = "patient_id"


def read_withdrawn(site_folder: Path) -> tuple[frozenset[str], list[Problem]]:
    """The pseudonyms of those who withdrew; a file that cannot be understood refuses the delivery, lest somebody stays who should not."""
    path = site_folder / NAME
    if not path.exists():
        return frozenset(), []
    try:
        rows = list(csv.reader(path.read_text("utf-8-sig").splitlines()))
    except (OSError, UnicodeDecodeError, csv.Error):
        rows = []
    filled = [[tidy(cell) for cell in row] for row in rows if any(map(tidy, row))]
    if not filled or filled[0] != [COLUMN] or any(len(row) != 1 for row in filled):
        return frozenset(), [Problem("withdrawals_unclear", NAME)]
    return frozenset(row[0].casefold() for row in filled[1:]), []


def leave_out(
    texts: dict[str, pd.DataFrame], withdrawn: frozenset[str]
) -> tuple[dict[str, pd.DataFrame], dict[str, set[int]]]:
    """The cells of each table without the rows of those who withdrew and of their episodes, and the numbers of the rows that are gone."""
    episodes = texts["episodes"]
    theirs = episodes[COLUMN].str.casefold().isin(withdrawn)
    codes = set(episodes.loc[theirs, "episode_id"].dropna().str.casefold())
    gone = {
        name: set(rows.index[theirs if name == "episodes" else rows["episode_id"].str.casefold().isin(codes)])
        for name, rows in texts.items()
    }
    return {name: rows.drop(index=list(gone[name])) for name, rows in texts.items()}, gone
