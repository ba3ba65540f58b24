"""What a page has room for: curves by their reported days, and the coarser parts first.

All rows are in the files.
"""

import re
from collections.abc import Iterable

import pandas as pd

# curves day by day, of which the second shows the reported days
DENSE = {
    "resolution_curves": r"unresolved_(?:upper|lower)_day_\d+",
    "joint_resolution": r"resolved_by_day_\d+",
}
# rows of one analysis on the page, so that it opens at once; the demonstration pool stays below
MOST = 1200
DIVIDERS = re.compile(r"[=,>]")


def condense_rows(name: str, rows: pd.DataFrame, days: Iterable[int]) -> pd.DataFrame:
    """Choose the rows of one analysis that its section shows, in their order; whole parts only.

    Left out are curves day by day, but for the reported days. Where more than MOST rows are left,
    parts with fewer divisions come first (the whole population, then parts by one variable, ...),
    among equals by name, until the next part would not fit; the first part is always there.

    Parameters
    ----------
    name
        Of the analysis.
    rows
        All its rows.
    days
        The reported days.
    """
    reported = rows["term"].isin([f"resolved_by_day_{day}" for day in days])
    shown = rows[~rows["term"].str.fullmatch(DENSE.get(name, "")) | reported]
    sizes = shown["stratum"].value_counts(sort=False)
    order = sorted(sizes.index, key=lambda stratum: (len(DIVIDERS.findall(stratum)), stratum))
    total = sizes.reindex(order).cumsum()
    fitting = total.index[(total <= MOST) | (total == total.min())]
    return shown[shown["stratum"].isin(fitting)]
