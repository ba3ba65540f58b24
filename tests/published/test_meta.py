"""Random-effects pools against R's metafor, statsmodels and printed tables;
sites' intercepts against lme4; hazards against survival."""

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from statsmodels.stats.meta_analysis import combine_effects

from pipeline.statistics.meta import (
    pool_odds_ratios,
    pool_random_effects,
    restricted_log_likelihood,
    tau2_by_paule_mandel,
    tau2_by_reml,
)
from pipeline.statistics.site_effects import fit_random
from pipeline.statistics.smooth_hazard import fit_hazard
from tests.published.estimators import tau2_by_moments

HERE = Path(__file__).parent
ESTIMATORS = {
    "REML": tau2_by_reml,
    "EB": tau2_by_paule_mandel,
    "DL": tau2_by_moments,
}
SETS = {  # those of meta.R beside the BCG trials
    "alike": ([0.10, 0.12, 0.08, 0.11], [0.04, 0.09, 0.02, 0.05]),
    "two": ([0.2, 1.1], [0.05, 0.08]),
    "barely": ([0.1, 0.5, -0.2, 0.3, 0.9], [0.10, 0.08, 0.12, 0.09, 0.20]),
    "apart": ([-3, 5, 0.5, 12, -7, 2], [0.01, 0.4, 0.2, 1.5, 0.03, 0.001]),
}
NUMBERS = [
    *("tau2", "estimate", "std_error", "lower", "upper", "predicted_lower", "predicted_upper"),
    *("tau2_lower", "tau2_upper", "i2", "q", "p_value"),
]


def _read(text: io.TextIOBase | Path) -> pd.DataFrame:
    return pd.read_csv(text, comment="#")


def bcg() -> tuple[np.ndarray, np.ndarray]:
    """Log risk ratios and variances of the BCG trials."""
    d = _read(HERE / "meta_bcg.csv")
    effects = np.log(d["cases"] / d["total"]) - np.log(d["cases_control"] / d["total_control"])
    return effects.to_numpy(), (
        1 / d["cases"] - 1 / d["total"] + 1 / d["cases_control"] - 1 / d["total_control"]
    ).to_numpy()


def effects_of(name: str) -> tuple[np.ndarray, np.ndarray]:
    effects, variances = bcg() if name == "bcg" else SETS[name]
    return np.array(effects, dtype=float), np.array(variances, dtype=float)


@pytest.mark.parametrize(
    "row", _read(HERE / "meta.csv").to_dict("records"), ids=lambda r: f"{r['set']}-{r['method']}"
)
def test_pools_agree_with_metafor(row):
    pool = pool_random_effects(*effects_of(row["set"]), ESTIMATORS[row["method"]])
    np.testing.assert_allclose(
        [getattr(pool, n) for n in NUMBERS], [row[n] for n in NUMBERS], rtol=2e-7, atol=2e-8
    )
    if row["method"] == "REML":
        likelihood = restricted_log_likelihood(pool.tau2, *effects_of(row["set"]))
        assert likelihood == pytest.approx(row["log_likelihood"], abs=1e-7)


@pytest.mark.parametrize("name", ["meta", "site_intercepts", "hazard_weibull"])
def test_records_are_what_the_scripts_give(run_r, name):
    again, recorded = _read(io.StringIO(run_r(f"{name}.R"))), _read(HERE / f"{name}.csv")
    pd.testing.assert_frame_equal(again, recorded, check_exact=False, rtol=1e-6, atol=2e-6)


def test_printed_pool_of_the_bcg_trials():
    # Viechtbauer W. J Stat Softw 2010;36(3), section on the BCG trials (from memory): tau2 .3132,
    # estimate -.7145, I2 92.22 %
    pool = pool_random_effects(*bcg())
    assert (round(pool.tau2, 4), round(pool.estimate, 4), round(100 * pool.i2, 2)) == (
        0.3132,
        -0.7145,
        92.22,
    )


@pytest.mark.parametrize("name", ["bcg", *SETS])
@pytest.mark.filterwarnings(
    "ignore:invalid value encountered in sqrt"
)  # statsmodels' own, where tau2 by moments is negative
def test_moments_and_paule_mandel_agree_with_statsmodels(name):
    effects, variances = effects_of(name)
    for method, estimator in (("chi2", tau2_by_moments), ("iterated", tau2_by_paule_mandel)):
        theirs = combine_effects(effects, variances, method_re=method)
        assert estimator(effects, variances) == pytest.approx(
            max(0.0, theirs.tau2), rel=1e-5, abs=1e-9
        )  # its search stops there


def test_restricted_likelihood_is_the_integral_over_the_mean():
    effects, variances = effects_of("barely")
    tau2 = 0.07

    def density(mean: float) -> float:
        spread = variances + tau2
        return np.exp(-((effects - mean) ** 2 / spread + np.log(2 * np.pi * spread)).sum() / 2)

    integral = quad(density, -10, 10, points=[0.3], epsabs=1e-14)[0] * np.sqrt(len(effects))
    assert restricted_log_likelihood(tau2, effects, variances) == pytest.approx(
        np.log(integral), abs=1e-8
    )


finite = st.floats(-5, 5)
effects_and_variances = st.lists(st.tuples(finite, st.floats(0.01, 4)), min_size=2, max_size=12)


@given(effects_and_variances)
@settings(max_examples=60)
def test_no_tau2_is_more_likely(rows):
    effects, variances = np.array(rows).T
    best = tau2_by_reml(effects, variances)
    top = restricted_log_likelihood(best, effects, variances)
    others = np.append(0.0, np.geomspace(1e-6, 1e3, 200))
    assert max(restricted_log_likelihood(tau2, effects, variances) for tau2 in others) <= top + 1e-9


@given(effects_and_variances, finite, st.floats(0.01, 100))
@settings(max_examples=60)
def test_pool_moves_and_stretches_with_its_effects(rows, by, factor):
    effects, variances = np.array(rows).T
    pool = pool_random_effects(effects, variances)
    moved = pool_random_effects(by + factor * effects[::-1], factor**2 * variances[::-1])
    scale = factor * (1 + np.sqrt(pool.tau2))
    assert moved.estimate == pytest.approx(by + factor * pool.estimate, abs=1e-5 * scale)
    assert moved.tau2 == pytest.approx(factor**2 * pool.tau2, rel=1e-4, abs=1e-7 * factor**2)
    assert moved.lower <= moved.estimate <= moved.upper
    assert moved.predicted_lower <= moved.lower + 1e-9 * scale
    assert moved.tau2_lower <= moved.tau2_upper


@pytest.mark.parametrize(
    "rows",
    [([1.0], [1.0]), ([1.0, 2.0], [1.0]), ([1.0, np.nan], [1.0, 1.0]), ([1.0, 2.0], [1.0, 0.0])],
)
def test_what_is_no_list_of_effects_is_refused(rows):
    with pytest.raises(ValueError, match="effects and variances"):
        pool_random_effects(*rows)


def test_one_trial_has_its_own_odds_ratio():
    # with one table the Mantel-Haenszel ratio is the plain one, and the variance of Robins et al.
    # is Woolf's
    effect, error = pool_odds_ratios([[(28, 7), (3, 28)]])
    assert np.exp(effect) == pytest.approx(28 * 28 / (7 * 3))
    assert error == pytest.approx(np.sqrt(1 / 28 + 1 / 7 + 1 / 3 + 1 / 28))


def test_random_intercepts_of_herds_agree_with_lme4():
    herds, recorded = (
        _read(HERE / "cbpp.csv"),
        _read(HERE / "site_intercepts.csv").set_index("term"),
    )
    rows = [
        (r.herd, r.period, n < r.incidence)
        for r in herds.rename(columns={"size": "n"}).itertuples()
        for n in range(r.n)
    ]
    herd, period, case = (np.array(column) for column in zip(*rows, strict=True))
    design = np.column_stack([np.ones(len(period)), *(period == k for k in (2, 3, 4))]).astype(
        float
    )
    fit = fit_random(design, case, herd)
    np.testing.assert_allclose(fit.coefficients, recorded["estimate"].iloc[:4], atol=2e-6)
    np.testing.assert_allclose(
        np.sqrt(np.diag(fit.covariance)), recorded["std_error"].iloc[:4], atol=2e-5
    )
    assert np.sqrt(fit.sigma2) == pytest.approx(recorded.loc["sigma", "estimate"], abs=2e-6)


def test_weibull_hazard_agrees_with_survreg():
    # survreg's log time is intercept + RT x + scale w: the hazard's coefficients are -intercept /
    # scale, 1 / scale, -RT / scale
    rows, recorded = (
        _read(HERE / "cosmesis.csv"),
        _read(HERE / "hazard_weibull.csv").set_index("term"),
    )
    alone = rows["arm"].eq("RT").to_numpy(float)[:, None]
    fit = fit_hazard(
        rows["left"].to_numpy(float), rows["right"].fillna(np.inf).to_numpy(), alone, (1.0, 60.0)
    )
    intercept, effect, log_scale = recorded["estimate"]
    scale = np.exp(log_scale)
    np.testing.assert_allclose(
        fit.coefficients, [-intercept / scale, 1 / scale, -effect / scale], rtol=1e-6
    )
    error = recorded.loc["log scale", "std_error"] / scale  # delta method
    assert np.sqrt(fit.covariance[1, 1]) == pytest.approx(error, rel=1e-5)
