"""Arms of the comparison: their limits hold whatever the outcome."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from pipeline.analyses.order.arms import Arm, fit_arm, measure_arms
from pipeline.analyses.order.propensity import leave_out_sites

DAYS, HORIZON = (7,), 10


def see(resolved: np.ndarray, site: np.ndarray, weight: np.ndarray | None = None) -> Arm:
    """An arm of which everybody is tested on day 6 and on day 10: resolved at the first test,
    or not at all."""
    left, right = np.where(resolved, 0.0, 10.0), np.where(resolved, 6.0, np.inf)
    stays = leave_out_sites(pd.Series(site)).astype(float)
    return fit_arm(left, right, stays if weight is None else stays * weight, HORIZON)


def measure(repeat: Arm, change: Arm) -> dict[str, tuple]:
    """By term the number, then its standard error, limits and p-value;
    none where there is a reason for that."""
    return {
        each.term: (float(each.values[0]), *each.limit())
        for each in measure_arms(repeat, change, DAYS, HORIZON)
        if each.check() is None
    }


@settings(max_examples=40)
@given(st.integers(0, 12), st.integers(0, 12), st.integers(0, 10_000))
def test_whatever_the_outcome_each_number_has_limits_on_its_scale(repeat, change, seed):
    rng, site = np.random.default_rng(seed), np.repeat(list("abcd"), 3)
    arms = [see(rng.permutation(12) < n, site, rng.uniform(0.5, 2, 12)) for n in (repeat, change)]
    measures = measure(*arms)
    ratio = {"risk_ratio_day_7"} if min(repeat, change) > 0 else set()
    assert set(measures) - ratio == {
        *(f"risk_{kind}_day_7" for kind in ("repeat", "change", "difference")),
        *(f"mean_days_{kind}" for kind in ("repeat", "change", "difference")),
    }
    ends = {
        "difference_day_7": (-1, 1),
        "days_difference": (-HORIZON, HORIZON),
        "ratio_day_7": (0, np.inf),
    }
    for term, (value, _, low, high, _) in measures.items():
        least, greatest = next(
            (e for end, e in ends.items() if term.endswith(end)),
            (0, HORIZON if "days" in term else 1),
        )
        assert least - 1e-9 <= low <= value + 1e-9
        assert value - 1e-9 <= high <= greatest + 1e-9
        assert low < high


def play(rng: np.random.Generator, n: int, shares: tuple[float, float], alike: float) -> list[Arm]:
    """Two arms of about `n` at four sites, whose shares are drawn with an intraclass correlation of
    1 / (1 + alike)."""
    arms = []
    for share in shares:
        site = np.concatenate([np.arange(4), rng.integers(0, 4, n - 4)])
        chances = rng.beta(share * alike, (1 - share) * alike, 4)
        arms.append(see(rng.random(n) < chances[site], site))
    return arms


@pytest.mark.parametrize("n", [12, 24, 40])
def test_limits_hold_at_high_shares_of_few_people(n):
    """Too few of the pools, by chance once in 500, would be a fault; too many are not:
    exact limits hold more often than they say."""
    pools, shares, covered = (
        80,
        (0.95, 0.85),
        dict.fromkeys(("risk_repeat_day_7", "risk_change_day_7", "risk_difference_day_7"), 0),
    )
    truth = dict(zip(covered, (*shares, shares[1] - shares[0]), strict=True))
    for pool in range(pools):
        measures = measure(*play(np.random.default_rng([31, n, pool]), n, shares, 49))
        for term in covered:
            covered[term] += measures[term][2] <= truth[term] <= measures[term][3]
    assert min(covered.values()) >= binom.ppf(0.002, pools, 0.95)
