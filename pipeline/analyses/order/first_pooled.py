"""Shares of negative tests after first maneuvers, partially pooled: each cell of variant and family
learns from the others.

The log-odds of a negative test are a mean plus effects of the variant, of the family, of both
together and of the site, each drawn from a normal distribution of its own
(pipeline/statistics/crossed.py). A cell of few episodes is drawn towards what its variant and its
family tell elsewhere, a cell of many is not; the share is the mean over sites like these. Case mix
is not taken into account.
"""

from dataclasses import dataclass

import pandas as pd

from pipeline.statistics.crossed import CrossedFit, fit_crossed
from pipeline.statistics.crossed_likelihood import Counted, count_rows
from pipeline.statistics.crossed_limits import limit_sd
from pipeline.statistics.crossed_shares import share_cells
from pipeline.statistics.guard import Refusal, check_sites
from schemas.study import Guards

CELL = ["variant", "family"]
FACTORS = ("variant", "family", "interaction", "site")
NOT_FOUND = Refusal("not_converged", "the likelihood is not finite at the solution")
NOBODY = Refusal("too_few", "no first session with a test after it")


@dataclass(frozen=True)
class PooledCells:
    """Cells that were pooled.

    Attributes
    ----------
    cells
        By variant and family: share, low, high (its 95 % interval) and own (the part of what is
        known of it that its own records tell).
    counted, fit
        What was fitted: FACTORS in their order.
    """

    cells: pd.DataFrame
    counted: Counted
    fit: CrossedFit

    @property
    def site_sd(self) -> float:
        """Standard deviation between sites, of the log-odds."""
        return float(self.fit.sds[FACTORS.index("site")])

    def limit(self, factor: str) -> tuple[float, float]:
        """95 % profile-likelihood limits of the standard deviation of one of FACTORS."""
        return limit_sd(self.counted, self.fit, FACTORS.index(factor))


def pool_cells(tested: pd.DataFrame, guards: Guards) -> PooledCells | Refusal:
    """Pool the cells of tested episodes.

    Parameters
    ----------
    tested
        One row for each episode, of one cell: variant, family, site and negative.
    guards
        Threshold `min_sites`.

    Returns
    -------
    PooledCells | Refusal
        All cells, small ones too, or why there are none.
    """
    if tested.empty:
        return NOBODY
    refusal = check_sites(tested["site"].nunique(), guards)
    if refusal:
        return refusal
    by_row = tested.groupby([*CELL, "site"])["negative"].agg(["sum", "size"]).reset_index()
    cell = by_row.groupby(CELL).ngroup().to_numpy()
    factors = [by_row["variant"].to_numpy(str), by_row["family"].to_numpy(str), cell]
    factors.append(by_row["site"].to_numpy(str))
    counted = count_rows(by_row["sum"].to_numpy(), by_row["size"].to_numpy(), factors)
    try:
        fit = fit_crossed(counted)
        if isinstance(fit, Refusal):
            return fit
        shares = share_cells(counted, fit, cell, FACTORS.index("site"))
    except FloatingPointError:
        return NOT_FOUND
    names = pd.MultiIndex.from_frame(by_row[CELL].drop_duplicates())
    return PooledCells(pd.DataFrame(vars(shares), index=names), counted, fit)
