"""What leaves after a run: a new release beside all earlier ones, the same as before, or,
while too little is new, the last one as it was."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.disclosure.ledger import (
    ESTIMATES,
    MADE_FROM,
    Entry,
    fingerprint,
    read_ledger,
    write_entry,
)
from pipeline.disclosure.people import Trials
from pipeline.disclosure.release import GivenAway, Made, make_release
from schemas.columns import Frame
from schemas.estimate import Estimates
from schemas.notes import NEWER
from schemas.study import Disclosure

TELLS = ["estimate", "n_episodes"]
KEPT = (
    "Records have come or changed since release {number}, too few to be released beside it without "
    "telling of single people: release {number} stays, and nothing here is newer."
)


@dataclass(frozen=True)
class Issue:
    """What leaves.

    Attributes
    ----------
    files
        Tables of estimates by the name of their file.
    made_from
        What they were made from, in columns name and value.
    message
        What to say of it, if anything.
    """

    files: dict[str, pd.DataFrame]
    made_from: pd.DataFrame
    message: str = ""


def issue_release(
    estimates: Frame[Estimates],
    rule: Disclosure,
    trials: Trials,
    ledger: Path,
    made_from: pd.DataFrame,
) -> Issue:
    """Make the release of what the analyses state, and enter it in the ledger if it is a new one.

    Parameters
    ----------
    estimates
        All rows before protection.
    rule
        Thresholds of disclosure.
    trials
        What narrows the people like those of each published trial, by people.narrow_trials.
    ledger
        Folder of earlier releases.
    made_from
        Fingerprints behind the estimates.

    Returns
    -------
    Issue
        The release, or the last one as it was while too little is new.

    Raises
    ------
    GivenAway
        If nothing can be released and nothing ever was.
    """
    entries = read_ledger(ledger)
    source = fingerprint({"estimates": estimates, "rule": pd.DataFrame([rule.model_dump()])})
    others = [entry for entry in entries if entry.source != source]
    try:
        made = make_release(estimates, rule, trials, others)
        same_source = [entry for entry in entries if entry.source == source]
        if same_source and fingerprint(split_files(made.rows)) not in {
            entry.content for entry in same_source
        }:
            # what was released of the same records in another way counts like any other release
            others = entries
            made = make_release(estimates, rule, trials, others)
    except GivenAway:
        if not others:
            raise
        return _keep(others[-1])
    files = split_files(made.rows)
    same = next((entry for entry in entries if entry.content == fingerprint(files)), None)
    if (
        same is None
        and others
        and count_numbers(files) < rule.min_renewed * count_numbers(_read_files(others[-1]))
    ):
        return _keep(others[-1])
    number = same.number if same else max((entry.number for entry in entries), default=0) + 1
    if same is None:
        _enter(ledger, number, source, files, made_from, made)
    return Issue(files, _number(made_from, number))


def split_files(rows: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The rows of each analysis as a table by the name of its file."""
    return {
        f"{name}.csv": group.reset_index(drop=True)
        for name, group in rows.groupby("analysis", sort=True)
    }


def count_numbers(files: dict[str, pd.DataFrame]) -> int:
    """How many numbers some tables show, sizes among them."""
    return sum(int(rows[TELLS].notna().to_numpy().sum()) for rows in files.values())


def _keep(entry: Entry) -> Issue:
    """The release of an entry once more, as it was."""
    message = KEPT.format(number=entry.number)
    made_from = pd.read_csv(entry.folder / MADE_FROM, dtype="string")
    note = pd.DataFrame({"name": [NEWER], "value": [message]})
    return Issue(
        _read_files(entry),
        pd.concat([_number(made_from, entry.number), note], ignore_index=True),
        message,
    )


def _read_files(entry: Entry) -> dict[str, pd.DataFrame]:
    paths: Sequence[Path] = sorted((entry.folder / ESTIMATES).glob("*.csv"))
    columns = list(Estimates.describe())  # an entry of an earlier version may have fewer
    return {path.name: Estimates.cast(pd.read_csv(path).reindex(columns=columns)) for path in paths}


def _number(made_from: pd.DataFrame, number: int) -> pd.DataFrame:
    """What a release was made from, with its number first."""
    first = pd.DataFrame({"name": ["release"], "value": [str(number)]})
    return pd.concat([first, made_from], ignore_index=True)


def _enter(
    ledger: Path,
    number: int,
    source: str,
    files: dict[str, pd.DataFrame],
    made_from: pd.DataFrame,
    made: Made,
) -> None:
    stated = made.stated
    bounds = np.column_stack(stated.audit.carry(made.known))
    write_entry(
        ledger, number, source, files, made_from, stated.audit.cells, bounds, stated.by_site.sites
    )
