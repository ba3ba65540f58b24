"""The interval-censored estimator against numbers from outside,
and against other implementations."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter

from pipeline.statistics.npmle import fit_npmle

COSMESIS = Path(__file__).with_name("cosmesis.csv")
INF = np.inf

# Radiotherapy arm of Finkelstein & Wolfe 1985 (Biometrics 41:933-945), fitted with the R package
# npsurv 0.5-0 (R 4.2.2) to a largest gradient within 1e-9 of 1: left, right, mass, survival at
# right. Copies of the data differ in one row, (18, 26] for (19, 26] in the R package KMsurv; these
# numbers are the same for
# both.
COSMESIS_MASS = [
    (4, 5, 0.0463468, 0.9537),
    (6, 7, 0.0333634, 0.9203),
    (7, 8, 0.0886674, 0.8316),
    (11, 12, 0.0707529, 0.7609),
    (24, 25, 0.0926458, 0.6682),
    (33, 34, 0.0817858, 0.5864),
    (38, 40, 0.1208798, 0.4656),
    (46, 48, 0.4655581, 0.0),
]
COSMESIS_LOG_LIKELIHOOD = -58.0600220

# The arm with chemotherapy: left, right, mass as printed in Fay & Shaw 2010 (J Stat Softw 36(2),
# icfit on their copy of the data; quoted from memory). A log-likelihood of -66.0375709 is quoted
# elsewhere for a copy that could not be
# had: these rows give -65.6369649.
CHEMOTHERAPY_MASS = [
    (4, 5, 0.0433),
    (5, 8, 0.0433),
    (11, 12, 0.0692),
    (16, 17, 0.1454),
    (18, 19, 0.1411),
    (19, 20, 0.1157),
    (24, 25, 0.0999),
    (30, 31, 0.0709),
    (35, 36, 0.1608),
    (44, 48, 0.0552),
    (48, 60, 0.0552),
]

# Cambi et al. 2013 (J Neurol 260:1489-1496): 50 patients with positional downbeat nystagmus, seen
# at 7, 14 and 28 days. Last day positive, first day negative, patients.
DOWNBEAT = [(0, 7, 24), (7, 14, 14), (14, 28, 11), (28, INF, 1)]
DOWNBEAT_SURVIVAL = {7: 0.52, 14: 0.24, 28: 0.02}

# Freireich et al. 1963 (Blood 21:699-716), weeks of remission under 6-mercaptopurine, with the
# product-limit estimate printed in Klein & Moeschberger, Survival Analysis, ch. 4 (book from
# memory; survfit of R 4.2.2
# gives the same).
REMISSION_ENDED = [6, 6, 6, 7, 10, 13, 16, 22, 23]
REMISSION_LASTED = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
REMISSION_SURVIVAL = {
    6: 0.8571,
    7: 0.8067,
    10: 0.7529,
    13: 0.6902,
    16: 0.6275,
    22: 0.5378,
    23: 0.4482,
}


def read_arm(arm: str, patients: int) -> tuple[np.ndarray, np.ndarray]:
    rows = pd.read_csv(COSMESIS, comment="#").query("arm == @arm")
    assert len(rows) == patients
    return rows["left"].to_numpy(float), rows["right"].fillna(INF).to_numpy(float)


@pytest.fixture
def cosmesis() -> tuple[np.ndarray, np.ndarray]:
    return read_arm("RT", 46)


def test_cosmesis_masses_agree_to_the_last_printed_digit(cosmesis):
    fit = fit_npmle(*cosmesis)
    has_mass = fit.mass > 1e-7
    intervals = list(zip(fit.left[has_mass], fit.right[has_mass], strict=True))
    assert intervals == [(left, right) for left, right, _, _ in COSMESIS_MASS]
    np.testing.assert_allclose(
        fit.mass[has_mass], [mass for _, _, mass, _ in COSMESIS_MASS], rtol=0, atol=6e-8
    )
    assert fit.log_likelihood == pytest.approx(COSMESIS_LOG_LIKELIHOOD, abs=6e-8)


def test_cosmesis_with_chemotherapy_agrees_to_the_printed_digits():
    fit = fit_npmle(*read_arm("RCT", 48))
    has_mass = fit.mass > 1e-7
    intervals = list(zip(fit.left[has_mass], fit.right[has_mass], strict=True))
    assert intervals == [(left, right) for left, right, _ in CHEMOTHERAPY_MASS]
    np.testing.assert_allclose(
        fit.mass[has_mass], [mass for _, _, mass in CHEMOTHERAPY_MASS], rtol=0, atol=5.1e-5
    )


def test_cosmesis_survival_and_median(cosmesis):
    fit = fit_npmle(*cosmesis)
    lower, upper = fit.survival([right for _, right, _, _ in COSMESIS_MASS])
    np.testing.assert_allclose(
        lower, [survival for _, _, _, survival in COSMESIS_MASS], rtol=0, atol=5.1e-5
    )
    np.testing.assert_allclose(upper, lower, rtol=0, atol=1e-9)
    assert fit.quantile(0.5) == (38, 40)


def test_life_table_of_positional_downbeat_nystagmus():
    left, right, patients = zip(*DOWNBEAT, strict=True)
    lower, upper = fit_npmle(left, right, patients).survival(list(DOWNBEAT_SURVIVAL))
    np.testing.assert_allclose(lower, list(DOWNBEAT_SURVIVAL.values()), rtol=0, atol=1e-8)
    np.testing.assert_allclose(upper, lower, rtol=0, atol=1e-8)


def test_exactly_known_weeks_give_the_printed_product_limit_estimate():
    ended = np.array(REMISSION_ENDED, dtype=float)
    left = np.append(ended - 1, REMISSION_LASTED)
    right = np.append(ended, np.full(len(REMISSION_LASTED), INF))
    lower, upper = fit_npmle(left, right).survival(list(REMISSION_SURVIVAL))
    np.testing.assert_allclose(lower, list(REMISSION_SURVIVAL.values()), rtol=0, atol=5.1e-5)
    np.testing.assert_allclose(upper, lower, rtol=0, atol=1e-8)


@pytest.mark.parametrize("seed", range(5))
def test_exactly_known_days_equal_kaplan_meier_of_lifelines(seed):
    rng = np.random.default_rng(seed)
    day, seen = rng.integers(1, 15, size=200).astype(float), rng.random(200) < 0.6
    fit = fit_npmle(np.where(seen, day - 1, day), np.where(seen, day, INF))
    days = np.arange(day[seen].max() + 1)
    expected = KaplanMeierFitter().fit(day, seen).survival_function_at_times(days)
    # the interval that ends at inf begins at the last censored day: up to there the curve is known
    # on every day
    lower, upper = fit.survival(days)
    np.testing.assert_allclose(lower, expected, rtol=0, atol=1e-7)
    np.testing.assert_allclose(upper, expected, rtol=0, atol=1e-7)


def test_second_implementation_agrees(cosmesis):
    """lifelines takes intervals as closed, [left, right]: shifting the left ends by 1e-5 makes them
    half-open."""
    left, right = cosmesis
    other = KaplanMeierFitter().fit_interval_censoring(left + 1e-5, right, tol=1e-10)
    curve = other.survival_function_["NPMLE_estimate_lower"]
    days = [right for _, right, _, _ in COSMESIS_MASS]
    expected = [curve.loc[:day].iloc[-1] for day in days]
    np.testing.assert_allclose(
        fit_npmle(left, right).survival(days)[0], expected, rtol=0, atol=1e-7
    )


def test_second_implementation_agrees_on_whole_days_with_many_ties():
    rng = np.random.default_rng(11)
    event, first_test, gap = (
        rng.exponential(9, 400),
        rng.integers(1, 8, 400),
        rng.integers(1, 8, 400),
    )
    tests = np.cumsum([np.zeros(400), first_test, gap, gap + 2, gap + 4], axis=0)
    left = np.where(tests < event, tests, 0).max(axis=0)
    right = np.where(tests >= event, tests, INF).min(axis=0)
    other = KaplanMeierFitter().fit_interval_censoring(left + 1e-5, right, tol=1e-10)
    days = np.unique(right[np.isfinite(right)])
    lower, upper = fit_npmle(left, right).survival(days)
    known = upper - lower < 1e-9
    assert known.sum() > 10
    curve = other.survival_function_["NPMLE_estimate_lower"]
    expected = [curve.loc[:day].iloc[-1] for day in days[known]]
    np.testing.assert_allclose(lower[known], expected, rtol=0, atol=1e-4)
