"""Second fits by lifelines and statsmodels: they agree with ours on the same rows,
and a fit that is a little off lets nothing leave."""

import sys
import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.sensitivity import model_agreement
from pipeline.analyses.sensitivity.model_agreement import MODELS, state_agreement
from pipeline.statistics import second_fits
from pipeline.statistics.cloglog import Rows, fit_cloglog
from pipeline.statistics.guard import Disagreement, Refusal
from pipeline.statistics.interval_regression import FAMILIES, collapse_patterns, fit_aft
from pipeline.statistics.linear_mixed import fit_linear_mixed
from pipeline.statistics.meta import pool_random_effects, tau2_by_paule_mandel
from pipeline.statistics.npmle import collapse_intervals, fit_npmle
from pipeline.statistics.restricted_likelihood import sum_products
from pipeline.steps import analyse

COUNTS = {"n_episodes": 300, "n_sites": 6}
DAYS = np.arange(1, 31)


@pytest.fixture(scope="module")
def intervals() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Intervals between tests of 160 people, and a design that moves their times."""
    rng = np.random.default_rng(5)
    design = np.column_stack([np.ones(160), rng.random(160) < 0.4, rng.normal(0, 1, 160)]).astype(
        float
    )
    time = np.exp(design @ [1.8, 0.5, 0.2]) * rng.weibull(1.2, 160)
    seen = np.cumsum(
        [rng.integers(1, 6, 160), rng.integers(2, 9, 160), rng.integers(4, 20, 160)], axis=0
    )
    seen = np.vstack([np.zeros(160), seen])
    left = np.where(seen < time, seen, 0).max(axis=0)
    return left, np.where(seen >= time, seen, np.inf).min(axis=0), design


def raises(model: str, difference: float | Refusal) -> bool:
    try:
        list(state_agreement(model, difference, COUNTS))
    except Disagreement:
        return True
    return False


def test_a_curve_that_is_a_little_off_lets_nothing_leave(intervals):
    left, right, index = collapse_intervals(*intervals[:2])
    weight = np.bincount(index).astype(float)
    fit = fit_npmle(left, right, weight)
    shifted = fit.mass * np.where(np.arange(len(fit.mass)) == fit.mass.argmax(), 1.02, 1)
    off = replace(fit, mass=shifted / shifted.sum())
    differences = [
        second_fits.compare_curve(left, right, weight, each, DAYS) for each in (fit, off)
    ]
    assert [raises("primary_curve", difference) for difference in differences] == [False, True]


@pytest.mark.parametrize("family", FAMILIES)
def test_a_time_ratio_that_is_a_little_off_lets_nothing_leave(intervals, family):
    left, right, design = intervals
    patterns, _ = collapse_patterns(left, right, design)
    fit = fit_aft(patterns, family)
    off = replace(fit, coef=fit.coef + np.array([0, 0, 0.002]))
    assert [
        raises("time_ratios", second_fits.compare_aft(patterns, each)) for each in (fit, off)
    ] == [False, True]


def test_what_the_data_do_not_determine_is_not_compared(intervals):
    left, right, design = intervals
    patterns, _ = collapse_patterns(left, right, design)
    fit = fit_aft(patterns, "weibull")
    difference = second_fits.compare_aft(patterns, replace(fit, coef=np.array([1.0, np.nan, 0.2])))
    row = next(state_agreement("time_ratios", difference, COUNTS))
    assert (row["status"], "estimate" in row) == ("not_identified", False)


def test_an_attempt_model_that_is_a_little_off_lets_nothing_leave(intervals):
    design = intervals[2]
    event = (np.random.default_rng(1).random(160) < 0.3 + 0.3 * design[:, 1]).astype(float)
    rows = Rows(design, np.zeros(160), event, 1 - event)
    fit = fit_cloglog(rows)
    off = fit._replace(point=fit.point + np.array([0, 0, 0.001]))
    assert [raises("attempts", second_fits.compare_cloglog(rows, each)) for each in (fit, off)] == [
        False,
        True,
    ]


def test_a_second_fit_that_runs_away_is_no_disagreement(intervals, monkeypatch):
    # in a pool of 60 episodes weighted least squares ended at coefficients of 10^14, as converged
    design = intervals[2]
    event = (np.random.default_rng(1).random(160) < 0.3 + 0.3 * design[:, 1]).astype(float)
    rows = Rows(design, np.zeros(160), event, 1 - event)
    fit, honest = fit_cloglog(rows), second_fits.GLM.fit

    def run_away(model, *args, **options):
        found = honest(model, *args, **options)
        if "method" not in options or everywhere:
            found.params[:] = 1e14
        return found

    monkeypatch.setattr(second_fits.GLM, "fit", run_away)
    everywhere = False
    assert second_fits.compare_cloglog(rows, fit) < 1e-4
    everywhere = True
    assert second_fits.compare_cloglog(rows, fit) == second_fits.NO_END


@pytest.mark.parametrize("slopes", [False, True])
def test_a_mixed_model_that_is_a_little_off_lets_nothing_leave(slopes):
    rng = np.random.default_rng(3)
    who, at = np.repeat(np.arange(120), 4), np.tile(np.arange(4.0), 120)
    home = who % 8
    of_patient = (
        rng.normal(0, 5, 120)[who] + rng.normal(0, 2, 120)[who] * at + rng.normal(0, 3, 8)[home]
    )
    total = 40 - 6 * at + of_patient + rng.normal(0, 4, len(who))
    design = np.column_stack([np.ones(len(at)), at])
    effects = design if slopes else design[:, :1]
    labels = who.astype(str), home.astype(str)
    products = sum_products(total, design, effects, *labels)
    alone, with_sites = (fit_linear_mixed(products, sites=sites) for sites in (False, True))
    rows = total, design, effects, labels[0]
    for model, fit, compare in (
        ("handicap_of_patients", alone, lambda each: second_fits.compare_two_levels(*rows, each)),
        (
            "handicap",
            with_sites,
            lambda each: second_fits.compare_least_squares(*rows, labels[1], each),
        ),
    ):
        off = replace(fit, coef=fit.coef + np.array([0, 0.02]))
        assert [raises(model, compare(each)) for each in (fit, off)] == [False, True]


def test_a_search_of_the_other_program_that_ends_nowhere_is_done_again():
    # 42 patients, three totals each of which some are missing: its first search steps onto a
    # variance of zero, finds the likelihood infinite there, and says that it converged
    rng = np.random.default_rng(0)
    who, at = np.repeat(np.arange(42), 3), np.tile(np.arange(3), 42)
    kept = rng.random(len(who)) < 0.85
    who, at = who[kept], at[kept]
    total = 44 - 8 * at + rng.normal(0, 9.5, 42)[who] + rng.normal(0, 9.8, len(who))
    design, effects = np.eye(3)[at], np.ones((len(who), 1))
    first = second_fits.MixedLM(total, design, groups=who, exog_re=effects)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        assert np.isinf(first.fit(reml=True, method=["lbfgs", "powell"]).llf)
    labels = who.astype(str), (who % 4).astype(str)
    ours = fit_linear_mixed(sum_products(total, design, effects, *labels), sites=False)
    assert second_fits.compare_two_levels(total, design, effects, labels[0], ours) < 0.01


def test_a_pool_that_is_a_little_off_lets_nothing_leave():
    effects, variances = (
        np.array([0.1, 0.5, 0.4, 0.9, 0.2]),
        np.array([0.02, 0.03, 0.02, 0.05, 0.04]),
    )
    mandel = pool_random_effects(effects, variances, tau2_by_paule_mandel)
    fit = pool_random_effects(effects, variances)
    off = replace(fit, std_error=1.01 * fit.std_error)
    differences = [
        second_fits.compare_pool(effects, variances, mandel, each) for each in (fit, off)
    ]
    assert [raises("pool_of_sites", difference) for difference in differences] == [False, True]


@pytest.mark.parametrize("model", [name for name, entry in MODELS.items() if entry.tolerance])
def test_agreement_is_rounded_up_and_stands_beside_its_tolerance(model):
    entry = MODELS[model]
    rows = {row["term"]: row for row in state_agreement(model, entry.tolerance * 0.33, COUNTS)}
    assert (
        entry.tolerance * 0.33
        <= rows["largest_difference"]["estimate"]
        <= rows["tolerance"]["estimate"]
    )
    assert raises(model, entry.tolerance * 1.01)
    assert raises(model, np.nan)


def test_the_analysis_compares_its_own_fit(intervals, monkeypatch, plan):
    left, right, _ = intervals
    followed = pd.DataFrame({"left_days": left, "right_days": right, "site": np.arange(160) % 6})
    model, difference, counts = model_agreement._check_curve(followed, plan.study)
    assert (model, counts["n_episodes"]) == ("primary_curve", 160)
    assert not raises(model, difference)
    fit = fit_npmle(left, right)
    off = replace(fit, mass=fit.mass[::-1])
    monkeypatch.setattr(model_agreement, "fit_npmle", lambda *given: off)
    assert raises(*model_agreement._check_curve(followed, plan.study)[:2])


def test_the_step_ends_with_the_sentence_and_writes_nothing(monkeypatch, tmp_path, plan):
    def disagree(*given):
        list(state_agreement("primary_curve", 0.1, COUNTS))

    class Warehouse:
        def __enter__(self):
            return self

        def __exit__(self, *given):
            return None

    monkeypatch.setattr(analyse, "run_analysis", disagree)
    monkeypatch.setattr(analyse, "open_warehouse", lambda path: Warehouse())
    monkeypatch.setattr(analyse, "read_config", lambda path: plan)
    out = tmp_path / "model_agreement.csv"
    arguments = [
        "analyse",
        "--plan",
        "plan",
        "--warehouse",
        "file",
        "--out",
        str(tmp_path),
        "model_agreement",
    ]
    monkeypatch.setattr(sys, "argv", arguments)
    with pytest.raises(SystemExit, match="Nothing is released: the model 'primary_curve'"):
        analyse.main()
    assert not out.exists()
