"""Sham-controlled trials of maneuvers: the pools printed in the literature come back from the
counts of their trials."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import yaml
from scipy.stats import norm

from pipeline.statistics.meta import pool_odds_ratios, pool_random_effects
from schemas.published import Published
from tests.published.estimators import tau2_by_moments

HERE = Path(__file__).parent
TRIALS = pd.read_csv(HERE / "sham_trials.csv", comment="#")
PUBLISHED = Published.model_validate(
    yaml.safe_load((HERE.parents[1] / "config" / "published.yaml").read_text("utf-8"))
)


def tables_of(rows: pd.DataFrame) -> list:
    return [
        [(r.events, r.total - r.events), (r.events_other, r.total_other - r.events_other)]
        for r in rows.itertuples()
    ]


def limits(effect: float, error: float) -> list[float]:
    return [float(np.exp(effect + z * error)) for z in (0, -norm.ppf(0.975), norm.ppf(0.975))]


def log_odds_ratios(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    tables = np.array(tables_of(rows), dtype=float)
    ratio = tables[:, 0, 0] * tables[:, 1, 1] / (tables[:, 0, 1] * tables[:, 1, 0])
    return np.log(ratio), (1 / tables).sum(axis=(1, 2))


@pytest.mark.parametrize("name", list(PUBLISHED.pools))
def test_a_printed_pool_comes_back(name):
    pool = PUBLISHED.pools[name]
    arms = [
        {arm.family: (arm.events, arm.total - arm.events) for arm in PUBLISHED.trials[trial].arms}
        for trial in pool.trials
    ]
    pooled = limits(
        *pool_odds_ratios([[arm[pool.treatment], arm[pool.comparator]] for arm in arms])
    )
    assert [round(number, 2) for number in pooled] == [pool.odds_ratio, pool.lower, pool.upper]


@pytest.mark.parametrize(
    "row", TRIALS.to_dict("records"), ids=lambda r: f"{r['trial']}-{r['outcome']}-{r['comparator']}"
)
def test_the_odds_ratio_of_one_trial_comes_back(row):
    # with one table the Mantel-Haenszel ratio and its error are the plain ones with Woolf's
    ratio = limits(*pool_odds_ratios(tables_of(pd.DataFrame([row]))))
    np.testing.assert_allclose(
        ratio, [row["odds_ratio"], row["lower"], row["upper"]], rtol=6e-3, atol=5e-3
    )


def test_random_effects_of_the_two_trials():
    # Froehling 2000 and Lynn 1995, negative tests: Q 2.965, DerSimonian-Laird 7.269 with plain
    # limits 1.122 to 47.078, tau2 1.23, I2 66 % (recomputed by another program)
    two = TRIALS[
        TRIALS["trial"].isin(["froehling_2000", "lynn_1995"]) & TRIALS["outcome"].eq("test")
    ]
    effects, variances = log_odds_ratios(two)
    pool = pool_random_effects(effects, variances, tau2_by_moments)
    assert (round(pool.q, 3), round(pool.tau2, 2), round(100 * pool.i2)) == (2.965, 1.23, 66)
    plain = 1 / np.sqrt((1 / (variances + pool.tau2)).sum())
    np.testing.assert_allclose(limits(pool.estimate, plain), [7.269, 1.122, 47.078], rtol=1e-3)


def test_pool_of_five_sham_controlled_tests():
    # von Brevern, Froehling, Lynn, Munoz, Bruintjes: Mantel-Haenszel 7.43 (4.18 to 13.22),
    # DerSimonian-Laird 8.80 (3.11 to 24.91) (recomputed by another program; endpoints and times
    # differ, so that this is a check of
    # arithmetic only)
    names = ["von_brevern_2006", "froehling_2000", "lynn_1995", "munoz_2007", "bruintjes_2014"]
    five = TRIALS[TRIALS["trial"].isin(names) & TRIALS["outcome"].ne("symptoms")]
    assert len(five) == 5
    assert [round(number, 2) for number in limits(*pool_odds_ratios(tables_of(five)))] == [
        7.43,
        4.18,
        13.22,
    ]
    effects, variances = log_odds_ratios(five)
    pool = pool_random_effects(effects, variances, tau2_by_moments)
    plain = 1 / np.sqrt((1 / (variances + pool.tau2)).sum())
    assert [round(number, 2) for number in limits(pool.estimate, plain)] == [8.80, 3.11, 24.91]
