"""Where the rows of a delivery end: stored, set aside, or refused with the whole delivery.

Each is kept once, and counted.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline.intake.check import ProgramFault, require_fit
from pipeline.intake.handed import Handed
from pipeline.intake.problem import Problem, quote_safely
from schemas.columns import Table
from schemas.delivery import PLANS, TABLES
from schemas.store import KEPT, Deliveries, Provenance


@dataclass(frozen=True)
class Checked:
    """Judged tables by name.

    Attributes
    ----------
    rows
        Typed, wrong cells missing, by row number.
    texts
        The same as handed in.
    problems
        All that is wrong.
    """

    rows: dict[str, pd.DataFrame]
    texts: dict[str, pd.DataFrame]
    problems: list[Problem]

    def set_aside(self, table: str) -> list[int]:
        """The rows of a table that a problem sets aside, in order."""
        return sorted(
            {
                p.row
                for p in self.problems
                if p.table == table and p.row is not None and p.severity == "set_aside"
            }
        )


NOTHING = Checked({}, {}, [])


def store_rows(handed: Handed, checked: Checked) -> dict[str, pd.DataFrame]:
    """The rows of each table that nothing sets aside, each with its row number and the fingerprint
    of its file."""
    stored = {}
    fingerprints = {sheet.table: sheet.sha256 for sheet in handed.sheets}
    for name, model in TABLES.items():
        rows, aside = checked.rows[name] if checked.rows else model.empty(), checked.set_aside(name)
        stored[name] = rows.drop(index=aside) if aside else rows.copy(deep=False)
        stored[name]["row"] = stored[name].index
        stored[name]["source_sha256"] = fingerprints[name] if checked.rows else ""
    return stored


def describe_delivery(handed: Handed, fields: Mapping[str, Any], accepted: bool) -> pd.DataFrame:
    """The one row of schemas.store.Deliveries, without site and delivery.

    Which delivery is current is for the store to say.
    """
    outcome = {
        "status": "accepted" if accepted else "refused",
        "is_current": False,
        "form": handed.form or "unknown",
    }
    of_itself = {
        name: fields.get(name) if accepted else None for name in list(Deliveries.describe())[6:]
    }
    return pd.DataFrame([outcome | {"fingerprint": handed.fingerprint} | of_itself])


def list_planned_days(fields: Mapping[str, Any]) -> pd.DataFrame:
    """The days of the site's plan (schemas.store.PlannedDays without site and delivery)."""
    planned = [
        (kind, int(day))
        for field, kind in PLANS.items()
        if fields.get(field) is not None
        for day in str(fields[field]).split("; ")
    ]
    return pd.DataFrame(sorted(planned), columns=["kind", "day"])


def count_rows(
    handed: Handed, tables: dict[str, pd.DataFrame], gone: dict[str, set[int]], accepted: bool
) -> pd.DataFrame:
    """Count where the rows of each table ended.

    Parameters
    ----------
    handed
        What was handed in.
    tables
        The tables that are kept.
    gone
        By table the row numbers of patients who withdrew.
    accepted
        Whether rows are stored.

    Returns
    -------
    pd.DataFrame
        One row for each table (schemas.store.RowCounts without site and delivery).

    Raises
    ------
    ProgramFault
        Where the rows that are kept are not as many as were handed in.
    """
    counts = []
    for name in TABLES:
        rows_in = sum(len(sheet.cells) for sheet in handed.sheets if sheet.table == name)
        stored, aside = len(tables[name]), int(tables["set_aside"]["table"].eq(name).sum())
        withdrawn = len(gone.get(name, ())) if accepted else 0
        refused = 0 if accepted else rows_in
        if rows_in != stored + aside + withdrawn + refused:
            raise ProgramFault(
                f"{name}: {rows_in} rows came in, {stored} are stored, {aside} set aside, "
                f"{withdrawn} withdrawn, {refused} refused"
            )
        counts.append((name, rows_in, stored, aside, withdrawn, refused))
    columns = [
        "table",
        "rows_in",
        "rows_stored",
        "rows_set_aside",
        "rows_withdrawn",
        "rows_refused",
    ]
    return pd.DataFrame(counts, columns=columns)


def keep_apart(checked: Checked) -> pd.DataFrame:
    """Rows that are set aside, as handed in (schemas.store.SetAside without site and delivery),
    but for words that nobody can tell from names."""
    blamed = {(p.table, p.row, p.column): p for p in checked.problems}
    why: dict[tuple[str | None, int | None], set[str]] = {}
    for problem in checked.problems:
        if problem.severity == "set_aside":
            why.setdefault((problem.table, problem.row), set()).add(problem.rule)
    kept = []
    for name in checked.rows:
        aside = checked.set_aside(name)
        texts = checked.texts[name].loc[aside].to_dict("index")
        episodes = checked.rows[name].loc[aside, "episode_id"].to_dict()
        for row in aside:
            given = {column: text for column, text in texts[row].items() if pd.notna(text)}
            wrong = {
                column: blamed[name, row, column]
                for column in given
                if (name, row, column) in blamed
            }
            cells = given | {
                column: quote_safely(given[column], problem) for column, problem in wrong.items()
            }
            kept.append(
                (
                    name,
                    row,
                    episodes[row],
                    " ".join(sorted(why[name, row])),
                    json.dumps(cells, ensure_ascii=False),
                )
            )
    return pd.DataFrame(kept, columns=["table", "row", "episode_id", "rules", "cells"])


def seal(name: str, rows: pd.DataFrame, site: str, delivery: str) -> pd.DataFrame:
    """The rows with site and delivery, typed as their models say."""
    rows = rows.copy(deep=False)
    rows["site"], rows["delivery"] = site, delivery
    sealed = pd.concat([model.cast(rows) for model in _list_models(name)], axis=1, copy=False)
    sealed.index = range(len(sealed))
    return sealed


def require_kept(tables: dict[str, pd.DataFrame]) -> None:
    """Make sure before they are kept that all tables of a delivery fit their models;
    raises ProgramFault where one does not."""
    for name, rows in tables.items():
        for model in _list_models(name):
            require_fit(model, rows[list(model.describe_kept())])


def _list_models(name: str) -> tuple[type[Table], ...]:
    return (Provenance, TABLES[name]) if name in TABLES else (KEPT[name],)
