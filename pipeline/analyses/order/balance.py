"""How the weights of a comparison of the second line turned out,
and how alike they made its arms."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pipeline.analyses.order.propensity import Contrast, count_effective, measure_balance
from pipeline.statistics.tidy import count_sites, state
from schemas.order_plan import SecondLine

PROPENSITY = (
    "logistic regression of the choice, stabilised weights cut at quantiles, then calibrated"
)
BALANCE = "standardised mean difference, change minus repeat"


def state_weights(contrast: Contrast, stratum: str) -> Iterator[dict]:
    """The mean and the greatest weight, before they were cut too,
    and how many equal weights would tell as much in each arm."""
    weights, changed = contrast.described, contrast.changed
    summaries = {
        "weight_mean": weights.weight.mean(),
        "weight_max": weights.weight.max(),
        "weight_max_before_cut": weights.greatest,
        "effective_n_repeat": count_effective(weights.weight[~changed]),
        "effective_n_change": count_effective(weights.weight[changed]),
    }
    fields = {"stratum": stratum, "method": PROPENSITY} | count_compared(contrast.rows)
    return (state(term, value, **fields) for term, value in summaries.items())


def state_balance(contrast: Contrast, stratum: str, plan: SecondLine) -> Iterator[dict]:
    """How far apart the arms were in each class of each term, and still are;
    `n_episodes` are those of the class."""
    balance = measure_balance(
        contrast.rows, plan.terms, contrast.changed, contrast.described.weight
    )
    fields = {
        "stratum": stratum,
        "comparison": "repeat",
        "method": BALANCE,
        **count_sites(contrast.rows),
    }
    for level, before, after, members in balance.itertuples():
        yield state(f"smd_before:{level}", before, n_episodes=members, **fields)
        yield state(f"smd_after:{level}", after, n_episodes=members, **fields)


def count_compared(rows: pd.DataFrame) -> dict:
    """Episodes of a comparison, how many of them were seen to be resolved, and their sites."""
    resolved = int(np.isfinite(rows["right_days"]).sum())
    return {"n_episodes": len(rows), "n_events": resolved, **count_sites(rows)}
