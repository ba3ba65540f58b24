"""Shares of negative tests after first maneuvers, as if all patients of a variant had been given
each of them.

One family of maneuvers is compared with all others that enough patients were given: weights
(pipeline/analyses/order/propensity.py) make those who were given it like all who are compared, in
what was known when it was chosen. Whoever had next to no probability of it, or of any other, is
left out: a site at which it is never given, or always.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.analyses.order.propensity import count_effective, weigh_choice
from pipeline.statistics.guard import Refusal
from pipeline.statistics.jackknife import RESTS_ON_ONE
from pipeline.statistics.share_limits import bound_share
from schemas.order_plan import FirstChoice
from schemas.study import Guards


@dataclass(frozen=True)
class Standardised:
    """A standardised share.

    Attributes
    ----------
    share, low, high
        The share of negative tests and its 95 % limits.
    compared
        Those who could have been given this family or another, one a row.
    given
        Who of them was given it, (episodes,).
    effective
        As many unweighted episodes would tell as much of the share.
    """

    share: float
    low: float
    high: float
    compared: pd.DataFrame
    given: np.ndarray
    effective: float


def standardise(
    rows: pd.DataFrame, family: str, plan: FirstChoice, guards: Guards
) -> Standardised | Refusal:
    """Standardise the share after one family to the patients of a variant.

    Parameters
    ----------
    rows
        Tested episodes of the variant and of the families that are compared, one a row: site,
        family, negative and the terms of the plan.
    family
        The family.
    plan
        The terms, and the quantiles at which weights are cut.
    guards
        Thresholds.

    Returns
    -------
    Standardised | Refusal
        The share, or why there is none. Its limits are by leaving out each site, the weights found
        anew each time, or exact at the effective number where these reach further.
    """
    choice = np.where(rows["family"].eq(family), "change", "repeat")
    contrast = weigh_choice(rows.assign(choice=choice), plan.terms, plan.truncate, guards)
    if isinstance(contrast, Refusal):
        return contrast
    given = contrast.changed
    weight = contrast.weights[:, given]
    positive = ~contrast.rows.loc[given, "negative"].to_numpy(bool)
    if not weight.any(axis=1).all():
        return RESTS_ON_ONE
    # limits are those of the share still positive, as are those of all shares of the project
    share = weight @ positive / weight.sum(axis=1)
    effective = count_effective(weight[0])
    sizes = (weight[1:] == 0) @ weight[0]
    bounds = bound_share(
        share[:1], share[1:, None], np.ones(len(sizes)), sizes, np.array([effective])
    )
    return Standardised(
        float(1 - share[0]),
        float(1 - bounds.high[0]),
        float(1 - bounds.low[0]),
        contrast.rows,
        given,
        effective,
    )
