"""Estimates as rows: one way to state a number, and one way to say why there is none."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from schemas.estimate import Estimates


def state(term: str, estimate: float, **where: object) -> dict:
    """A row with a number that can be used; `where` fills any other column of schemas.estimate.Estimates."""
    return {"term": term, "estimate": float(estimate), "status": "ok", **where}


def withhold(term: str, status: str, note: str, **where: object) -> dict:
    """A row without a number: `status` says which guard held it back, `note` why in words."""
    return {"term": term, "status": status, "note": note, **where}


def count_sites(sites: ArrayLike) -> dict[str, int | float | None]:
    """The columns `n_sites` and `largest_share` of a row that rests on episodes of these `sites`, one code for each."""
    sizes = pd.Series(np.asarray(sites)).value_counts()
    return {"n_sites": len(sizes), "largest_share": float(sizes.max() / sizes.sum()) if len(sizes) else None}


def tidy_estimates(rows: list[dict], **shared: object) -> pd.DataFrame:
    """The rows as a checked table; `shared` fills the columns that are the same in all of them."""
    frame = pd.DataFrame([shared | row for row in rows]).reindex(columns=list(Estimates.describe()))
    return Estimates.validate(Estimates.cast(frame), lazy=True)
