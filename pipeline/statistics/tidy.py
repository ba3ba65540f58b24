"""Estimates as rows: one way to state a number, and one way to say why there is none."""

from collections import Counter
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from schemas.columns import Frame
from schemas.declared import find_quantity
from schemas.estimate import Estimates
from schemas.strata import check_comparison, check_stratum

Fields = dict[str, Any]  # of a row of schemas.estimate.Estimates, by column


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
    sites: ArrayLike, *, events: ArrayLike | None = None, among: ArrayLike | None = None
) -> Fields:
    """Tell on how many sites a row rests, and on how many episodes of each.

    Parameters
    ----------
    sites
        The sites of the episodes, one code for each episode.
    events
        The sites of those of them who had the event, where the row tells how many had it.
    among
        Where `sites` are themselves those who had it: the sites of the whole of which they are
        a part.

    Returns
    -------
    Fields
        The columns `n_sites` and `by_site` of the row.
    """
    everybody, part = (sites, events) if among is None else (among, sites)
    sizes, parts = Counter(_list(everybody)), Counter([] if part is None else _list(part))
    ends = {site: "" if part is None else f"/{parts[site]}" for site in sizes}
    named = " ".join(f"{site}={sizes[site]}{ends[site]}" for site in sorted(sizes))
    return {"n_sites": len(set(_list(sites))), "by_site": named or None}


def _list(values: ArrayLike) -> list:
    """Plain values, which are counted many times as fast as those of pandas."""
    return np.asarray(values).tolist()


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
    return Estimates.validate(Estimates.cast(frame), lazy=True)
