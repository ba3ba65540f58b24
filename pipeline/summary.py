"""What a run ends with: deliveries accepted and refused, rows set aside, withdrawals,
which release it is, numbers hidden, what to open."""

from collections.abc import Iterator
from pathlib import PurePath
from typing import Any

import pandas as pd

from pipeline.intake.report import count, say_why
from pipeline.results import RELEASES
from schemas.codes import ESTIMATE_STATUS
from schemas.notes import NEWER

WIDTH = 12  # of the names in front
PLACES_TOLD = 8


def describe_run(
    tables: dict[str, pd.DataFrame],
    estimates: pd.DataFrame,
    release: dict[str, str],
    kept: dict[str, str],
    withdrawn: pd.DataFrame,
    results: PurePath,
) -> str:
    """The summary as lines of text.

    `tables` are the store's deliveries, row_counts and problems; `estimates` the released rows of
    all analyses; `release` says which release they are, and what it was made from; `kept` has the
    folder that it is kept in, and the SHA-256 of its description; `withdrawn` has a row a site
    (columns site, patients_withdrawn and episodes_left_out); `results` is the folder that pages
    are named by.
    """
    deliveries = tables["deliveries"].sort_values(["site", "delivery"])
    parts = {
        "Deliveries": say_deliveries(deliveries, tables["problems"], results),
        "Rows": say_rows(
            tables["row_counts"].merge(deliveries[["site", "delivery", "is_current"]]), results
        ),
        "Withdrawn": say_withdrawn(withdrawn),
        "Release": say_release(release, kept, results),
        "Numbers": say_numbers(estimates["status"].value_counts()),
        "Open": iter([f"{results / 'reports' / 'committee.html'}, and technical.html beside it"]),
    }
    lines = []
    for name, part_lines in parts.items():
        for number, line in enumerate(part_lines):
            lines.append(f"{'' if number else name:{WIDTH}}{line}")
    return "\n".join(lines) + "\n"


def say_release(release: dict[str, str], kept: dict[str, str], results: PurePath) -> Iterator[str]:
    """Which release it is, where it is kept, and what proves that it was not changed since."""
    yield release.get(NEWER, release["release"])
    yield f"kept in {results / RELEASES / kept['folder']}"
    yield f"SHA-256 of its description: {kept['sha256']}"


def say_deliveries(
    deliveries: pd.DataFrame, problems: pd.DataFrame, results: PurePath
) -> Iterator[str]:
    """How many were accepted, and each site's refused one that nothing accepted has followed: why,
    and what counts instead."""
    accepted = deliveries["status"].eq("accepted")
    yield f"{accepted.sum():,} accepted, {(~accepted).sum():,} refused"
    current = deliveries[deliveries["is_current"]].set_index("site")["delivery"]
    for row in deliveries[~accepted].itertuples(index=False):
        counts = current.get(row.site, "")
        if counts > row.delivery:
            continue
        of_site = problems[
            problems["site"].eq(row.site)
            & problems["delivery"].eq(row.delivery)
            & problems["severity"].eq("refuse")
        ]
        instead = f"; {counts} counts instead" if counts else "; the site is not in the pool"
        yield f"{row.site}/{row.delivery} refused: {say_why(of_site)}{instead}"
        yield f"  {find_page(results, row)}"


def say_rows(counts: pd.DataFrame, results: PurePath) -> Iterator[str]:
    """How many rows of each site's current delivery are stored and set aside,
    and on which pages they are listed."""
    current = counts[counts["is_current"]]
    stored, aside = int(current["rows_stored"].sum()), int(current["rows_set_aside"].sum())
    yield f"{count(stored, 'row')} stored, {aside:,} set aside until they are mended"
    by_delivery = current.groupby(["site", "delivery"])["rows_set_aside"].sum()
    to_mend = (
        by_delivery[by_delivery.gt(0)].sort_values(ascending=False, kind="stable").reset_index()
    )
    for row in to_mend.head(PLACES_TOLD).itertuples(index=False):
        yield f"  {row.rows_set_aside:,} of {row.site}: {find_page(results, row)}"
    if len(to_mend) > PLACES_TOLD:
        yield (
            f"  and those of {count(len(to_mend) - PLACES_TOLD, 'further site')}: "
            f"{results / 'intake'}"
        )


def say_withdrawn(withdrawn: pd.DataFrame) -> Iterator[str]:
    """How many patients withdrew their consent, by site; nothing where no site has a list."""
    for row in withdrawn.itertuples(index=False):
        yield (
            f"{count(row.patients_withdrawn, 'patient')} of {row.site}; "
            f"{count(row.episodes_left_out, 'episode')} left out; now in none of "
            f"{count(row.tables_searched, 'table')} and {count(row.files_searched, 'file')}"
        )


def say_numbers(statuses: pd.Series) -> Iterator[str]:
    """How many estimates can be used, how many are hidden, and how many were withheld for which
    reason, a line each."""
    width = max((len(f"{number:,}") for number in statuses), default=1)
    for code, meaning in ESTIMATE_STATUS.items():
        if code == "ok" or statuses.get(code, 0):
            yield f"{statuses.get(code, 0):>{width},} {meaning}"


def find_page(results: PurePath, row: Any) -> PurePath:
    """The page of a delivery for whoever handed it in."""
    return results / "intake" / row.site / row.delivery / "report.html"
