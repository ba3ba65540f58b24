"""Estimates as rows: one way to state a number, and one way to say why there is none."""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

import pandas as pd

from schemas.columns import Frame
from schemas.declared import find_quantity
from schemas.estimate import Estimates
from schemas.keys import EPISODE, EPISODE_ID
from schemas.strata import check_comparison, check_stratum

Fields = dict[str, Any]  # of a row of schemas.estimate.Estimates, by column


class Counted(str):
    """The text of `by_site`, which knows its episodes if it was made by `recording_members`.

    Attributes
    ----------
    episodes, events
        site and episode_id of those that `n_episodes`, and that `n_events`, counts; None where the
        rows that were counted name no episode.
    """

    episodes: pd.DataFrame | None = None
    events: pd.DataFrame | None = None


# of each table of estimates that was put together, the text of `by_site` of each of its rows
_recorded: ContextVar[list[tuple[Frame[Estimates], list[str | None]]] | None] = ContextVar(
    "recorded", default=None
)


@contextmanager
def recording_members() -> Iterator[list[tuple[Frame[Estimates], list[str | None]]]]:
    """Keep which episodes each row counts, for whoever traces it.

    Yields
    ------
    list
        Fills with a pair for each table of estimates: the table, and of each of its rows
        the `Counted`.
    """
    tables: list[tuple[Frame[Estimates], list[str | None]]] = []
    token = _recorded.set(tables)
    try:
        yield tables
    finally:
        _recorded.reset(token)


def state(term: str, estimate: float, **fields: Any) -> Fields:
    """Make a row with a number that can be used.

    Parameters
    ----------
    term
        What is estimated, as declared in schemas.declared.
    estimate
        The number, in the unit declared for it.
    **fields
        Any other column of schemas.estimate.Estimates.

    Returns
    -------
    Fields
        The row, of status "ok".
    """
    return {"term": term, "estimate": float(estimate), "status": "ok", **fields}


def withhold(term: str, status: str, note: str, **fields: Any) -> Fields:
    """Make a row without a number.

    Parameters
    ----------
    term
        What would have been estimated.
    status
        Which guard held the number back, of schemas.codes.ESTIMATE_STATUS.
    note
        Why, in words.
    **fields
        Any other column of schemas.estimate.Estimates.

    Returns
    -------
    Fields
        The row, without an estimate.
    """
    return {"term": term, "status": status, "note": note, **fields}


def count_sites(
    rows: pd.DataFrame, *, events: pd.DataFrame | None = None, among: pd.DataFrame | None = None
) -> Fields:
    """Tell on how many sites a row rests, and on how many episodes of each.

    Parameters
    ----------
    rows
        The episodes, one row each, with their site; with their episode_id too, a trace can name
        them.
    events
        Those of them who had the event, where the row tells how many had it.
    among
        Where `rows` are themselves those who had it: the whole of which they are a part.

    Returns
    -------
    Fields
        The columns `n_sites` and `by_site` of the row.
    """
    everybody, part = (rows, events) if among is None else (among, rows)
    sizes, parts = Counter(_list_sites(everybody)), Counter(_list_sites(part))
    ends = {site: "" if part is None else f"/{parts[site]}" for site in sizes}
    by_site = Counted(" ".join(f"{site}={sizes[site]}{ends[site]}" for site in sorted(sizes)))
    if _recorded.get() is not None:
        by_site.episodes, by_site.events = _keep_keys(everybody), _keep_keys(part)
    return {"n_sites": len(set(_list_sites(rows))), "by_site": by_site or None}


def _list_sites(rows: pd.DataFrame | None) -> list:
    """Plain values, which are counted many times as fast as those of pandas."""
    return [] if rows is None else rows["site"].to_numpy().tolist()


def _keep_keys(rows: pd.DataFrame | None) -> pd.DataFrame | None:
    return rows[EPISODE].astype("string") if rows is not None and EPISODE_ID in rows else None


def tidy_estimates(rows: list[Fields], **shared: Any) -> Frame[Estimates]:
    """Put rows together as a checked table.

    Parameters
    ----------
    rows
        Rows by `state` and `withhold`.
    **shared
        The columns that are the same in all of them; where a row has its own value, that stays.

    Returns
    -------
    Frame[Estimates]
        One row for each of `rows`, in their order.

    Raises
    ------
    schemas.quantities.Undeclared, schemas.strata.UnknownStratum
        For a row that says what nobody has declared.
    """
    frame = pd.DataFrame([shared | row for row in rows]).reindex(columns=list(Estimates.describe()))
    for analysis, stratum, term in (
        frame[["analysis", "stratum", "term"]].drop_duplicates().itertuples(index=False)
    ):
        check_stratum(stratum)
        find_quantity(analysis, stratum, term)
    for comparison in frame["comparison"].dropna().unique():
        check_comparison(comparison)
    checked = Estimates.validate(Estimates.cast(frame), lazy=True)
    recorded = _recorded.get()
    if recorded is not None:
        recorded.append((checked, [(shared | row).get("by_site") for row in rows]))
    return checked
