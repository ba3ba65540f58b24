"""Time ratios: planted truth with sites that differ, the chosen distribution, the check of fit,
and a status instead of a wild number."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.stats import binomtest

from pipeline.analyses.resolution.regression import (
    estimate_resolution_regression,
    regress_resolution,
)
from pipeline.analyses.resolution.regression_fit import (
    compare_with_none,
    design_regression,
    estimate_regression,
)
from pipeline.statistics.design import OTHER
from pipeline.statistics.guard import Refusal
from pipeline.statistics.interval_regression import collapse_patterns, fit_aft
from pipeline.statistics.jackknife import RESTS_ON_ONE
from pipeline.statistics.tidy import tidy_estimates
from schemas.derived import Adjudications, Attempts, Spells

NOISE = {
    "weibull": lambda rng, n: np.log(rng.exponential(size=n)),
    "lognormal": lambda rng, n: rng.normal(size=n),
    "loglogistic": lambda rng, n: rng.logistic(size=n),
}
TERMS = ("sex", "onset", "first_family", "canal_arm")


def simulate(
    rng: np.random.Generator,
    n: int = 500,
    sites: int = 9,
    family: str = "weibull",
    site_sd: float = 0.0,
):
    """Rows with log time 1.6 + .4 male - .5 recent + .3 semont - .6 lateral + site + .8 noise,
    tested on kept days."""
    male, recent, lateral = (rng.random(n) < share for share in (0.4, 0.5, 0.35))
    semont = rng.random(n) < np.where(lateral, 0.2, 0.5)
    site = rng.integers(0, sites, n)
    mean = (
        1.6
        + 0.4 * male
        - 0.5 * recent
        + 0.3 * semont
        - 0.6 * lateral
        + rng.normal(0, site_sd, sites)[site]
    )
    return examined(mean + 0.8 * NOISE[family](rng, n), rng).assign(
        site=[f"S{k:02d}" for k in site],
        episode_id=[f"EP-{k}" for k in range(n)],
        sex=np.where(male, "male", "female"),
        onset=np.where(recent, "0-7 days", "8-30 days"),
        first_family=np.where(semont, "semont", "epley"),
        canal_arm=np.where(lateral, "lateral long", "posterior long"),
    )


def examined(
    log_time: np.ndarray, rng: np.random.Generator, visits=(1, 2, 4, 7, 11, 14, 21, 30, 45)
) -> pd.DataFrame:
    days = np.where(rng.random((len(log_time), len(visits))) < 0.6, np.array(visits, float), np.nan)
    time = np.exp(log_time)[:, None]
    left = np.nanmax(
        np.column_stack([np.zeros(len(time)), np.where(days < time, days, np.nan)]), axis=1
    )
    right = np.nanmin(
        np.column_stack([np.full(len(time), np.inf), np.where(days >= time, days, np.nan)]), axis=1
    )
    return pd.DataFrame({"left_days": left, "right_days": right})


@pytest.fixture(scope="module")
def regression_plan(plan):
    """The plan with the terms of the simulation."""
    regression = plan.study.regression.model_copy(update={"terms": TERMS})
    return plan.model_copy(
        update={"study": plan.study.model_copy(update={"regression": regression})}
    )


def regress(rows: pd.DataFrame, config) -> pd.DataFrame:
    return tidy_estimates(
        list(regress_resolution(rows, config)), analysis="resolution_regression", population="test"
    )


def by_term(estimates: pd.DataFrame, stratum: str = "all") -> pd.DataFrame:
    return estimates[estimates["stratum"].eq(stratum)].set_index("term")


def test_planted_ratios_come_back_and_limits_by_site_cover_them(plan):
    rng = np.random.default_rng(41)
    truth = {
        "sex=male": 0.4,
        "onset=0-7 days": -0.5,
        "first_family=semont": 0.3,
        "canal_arm=lateral long": -0.6,
    }
    away, covered = [], []
    for _ in range(40):
        rows = simulate(rng, n=270, site_sd=0.3)
        model = design_regression(rows, TERMS, (7,), plan.study.guards)
        answers = estimate_regression(model, fit_aft(model.patterns, "weibull"), plan.study.guards)
        for name, effect in truth.items():
            flip = 1 if name in model.names else -1  # the reference is the most frequent class
            k = next(k for k, n in enumerate(model.names) if n.split("=")[0] == name.split("=")[0])
            low, high = answers.limit(k, answers.n_sites)
            away.append(flip * answers.full[k] - effect)
            covered.append(low <= flip * effect <= high)
    away = np.array(away).reshape(40, 4)
    assert np.all(np.abs(away.mean(axis=0)) < 4 * away.std(axis=0) / np.sqrt(40))
    assert sum(covered) >= stats.binom.ppf(1e-4, 160, 0.93)


@pytest.mark.parametrize("family", ["weibull", "lognormal", "loglogistic"])
def test_the_family_that_made_the_data_is_reported_and_fits(regression_plan, family):
    estimates = by_term(
        regress(simulate(np.random.default_rng(5), n=4000, family=family), regression_plan)
    )
    assert (
        estimates.filter(like="aic_", axis=0)["estimate"].astype(float).idxmin() == f"aic_{family}"
    )
    assert estimates.loc["sex=male", "method"].startswith(family)
    assert estimates.loc["sex=male", "lower"] < np.exp(0.4) < estimates.loc["sex=male", "upper"]
    away = estimates.filter(like="fitted_share", axis=0)
    assert len(away) == 4
    assert (away["estimate"].abs() < 0.03).all()


def test_a_fit_that_is_none_shows(regression_plan):
    """Half resolve at once and half after weeks: no single hump can follow."""
    rng = np.random.default_rng(6)
    rows = simulate(rng, n=2000)
    late = rng.random(2000) < 0.5
    times = examined(np.where(late, np.log(28), np.log(1.5)) + 0.05 * rng.normal(size=2000), rng)
    estimates = by_term(regress(rows.assign(**times), regression_plan)).filter(
        like="fitted_share", axis=0
    )
    assert estimates["estimate"].abs().max() > 0.08
    assert ((estimates["lower"] > 0) | (estimates["upper"] < 0)).any()


def test_no_share_is_set_alike_for_maneuvers_without_an_interaction(regression_plan):
    """Such a share would put the same maneuver first in every variant: none is told,
    of the whole or of a part."""
    estimates = regress(simulate(np.random.default_rng(7), n=2000), regression_plan)
    assert estimates["stratum"].eq("all").all()
    assert not estimates["term"].str.startswith("resolved_by").any()


@settings(max_examples=5)
@given(st.integers(0, 10**6))
def test_every_stated_class_and_its_reference_have_their_people(regression_plan, seed):
    """Also where a class is rare, always or never resolved at the first test,
    or another one by another name."""
    rng = np.random.default_rng(seed)
    rows = simulate(rng, n=150, sites=4)
    rows.loc[rng.random(150) < 0.08, "onset"] = "over 90 days"
    rows.loc[rows["onset"].eq("over 90 days"), "first_family"] = rng.choice(["zuma", "epley"])
    rows.loc[rng.random(150) < 0.03, "sex"] = "unknown"
    odd = rng.random(150) < 0.1
    rows.loc[odd, "canal_arm"] = "lateral cupula"
    rows.loc[odd, ["left_days", "right_days"]] = rng.choice([[0.0, 1.0], [45.0, np.inf]])
    estimates = regress(rows, regression_plan)
    classes = estimates[
        estimates["term"].str.contains("=") & ~estimates["term"].str.endswith(OTHER)
    ]
    for row in classes.itertuples():
        term, _, value = row.term.partition("=")
        assert row.n_episodes == rows[term].eq(value).sum() > 0
        if row.status == "ok":
            assert rows[term].eq(row.comparison.partition("=")[2]).sum() > 0


def test_a_rare_class_moves_nobody_into_the_reference(regression_plan, plan):
    """Three women without a recorded sex: as if they were not there,
    but for what they tell of all else."""
    rows = simulate(np.random.default_rng(16), n=400)
    rows.loc[:2, "sex"] = "unknown"
    model = design_regression(rows, TERMS, (7,), plan.study.guards)
    assert model.design.unnamed[f"sex={OTHER}"].sum() == 3
    fit = fit_aft(model.patterns, "weibull")
    dummies = pd.get_dummies(rows[list(TERMS)], dtype=float)
    dropped = [f"{term}_{value}" for term, value in model.design.references.items()]
    matrix = np.column_stack([np.ones(400), dummies.drop(columns=dropped)])
    by_hand = fit_aft(
        collapse_patterns(rows["left_days"], rows["right_days"], matrix)[0], "weibull"
    )
    assert fit.log_likelihood == pytest.approx(by_hand.log_likelihood, abs=1e-8)


def test_the_order_of_rows_changes_nothing(regression_plan):
    rows = simulate(np.random.default_rng(8))
    pd.testing.assert_frame_equal(
        regress(rows, regression_plan),
        regress(rows.sample(frac=1, random_state=1), regression_plan),
    )


def test_few_episodes_give_a_status_for_every_factor(regression_plan):
    estimates = regress(simulate(np.random.default_rng(9), n=10), regression_plan)
    assert estimates["status"].eq("too_few").all()
    assert set(estimates["term"]) == {f"effect_of_{term}" for term in TERMS}


def test_two_sites_give_limits_by_the_model_and_say_so(regression_plan):
    estimates = by_term(regress(simulate(np.random.default_rng(10), sites=2), regression_plan))
    assert estimates.loc["sex=male", "status"] == "ok"
    assert "model" in estimates.loc["sex=male", "method"]
    assert "sites differ" in estimates.loc["sex=male", "note"]
    assert estimates.filter(like="fitted_share", axis=0)["status"].ne("ok").all()


@pytest.mark.parametrize("slower", [0.0, 30.0])
def test_the_fit_is_compared_with_the_curve_however_many_are_resolved(regression_plan, slower):
    """By day 30 all but three of 300 are resolved, or only forty are, of whom four by day 7."""
    rng, site = np.random.default_rng(13), np.repeat(range(6), 50)
    slow = np.zeros(300, bool)
    slow[rng.choice(300, 3 if slower == 0 else 40, replace=False)] = True
    right = (
        np.where(slow, np.inf, rng.choice([2.0, 5.0, 20.0], 300))
        if slower == 0
        else np.where(slow, 20.0, np.inf)
    )
    if slower:
        right[np.flatnonzero(slow)[:4]] = 5.0
    left = np.select([np.isinf(right), right == 20], [45.0, 10.0], 0.0)
    rows = simulate(rng, n=300).assign(
        left_days=left, right_days=right, site=[f"S{k}" for k in site]
    )
    estimates = by_term(regress(rows, regression_plan)).loc[
        f"fitted_share_less_observed_by_day_{30 if slower == 0 else 7}"
    ]
    assert estimates["status"] == "ok"
    seen = binomtest(297 if slower == 0 else 4, 300).proportion_ci(method="exact")
    assert estimates["upper"] - estimates["lower"] > 0.9 * (seen.high - seen.low)
    assert estimates["lower"] < estimates["estimate"] < estimates["upper"]


def test_a_class_of_one_site_rests_on_it_and_one_of_two_has_no_limits(regression_plan):
    rows = simulate(np.random.default_rng(11))
    for site, family in (("S00", "gufoni"), ("S01", "zuma"), ("S02", "zuma")):
        rows.loc[rows["site"].eq(site) & rows["onset"].eq("0-7 days"), "first_family"] = family
    estimates = by_term(regress(rows, regression_plan))
    assert estimates.loc["first_family=gufoni", "note"] == RESTS_ON_ONE.note
    assert estimates.loc["first_family=zuma", "status"] == "not_identified"
    assert estimates.loc[["sex=male", "canal_arm=lateral long"], "status"].eq("ok").all()


def test_a_class_that_is_another_one_but_for_a_few_is_left_out_with_its_reason(regression_plan):
    rows = simulate(np.random.default_rng(12))
    rows["onset"] = np.where(rows["sex"].eq("male"), "0-7 days", "8-30 days")
    rows.loc[rows.index[:3], "onset"] = "8-30 days"
    estimates = by_term(regress(rows, regression_plan))
    assert estimates.loc["onset=0-7 days", "status"] == "not_identified"
    assert estimates.loc["sex=male", "status"] == "ok"


def test_p_values_of_the_factors_are_adjusted_by_holm(regression_plan):
    estimates = by_term(
        regress(simulate(np.random.default_rng(13), n=300), regression_plan)
    ).filter(like="effect_of", axis=0)
    raw = np.sort(estimates["p_value"].astype(float))
    by_hand = np.minimum(1, np.maximum.accumulate(raw * np.arange(4, 0, -1)))
    np.testing.assert_allclose(np.sort(estimates["p_adjusted"].astype(float)), by_hand)


def test_a_factor_of_two_classes_is_tested_as_its_coefficient(regression_plan):
    estimates = by_term(regress(simulate(np.random.default_rng(14)), regression_plan))
    assert estimates.loc["effect_of_sex", "p_value"] == pytest.approx(
        estimates.loc["sex=male", "p_value"]
    )


# Sweat of 20 women: Johnson RA, Wichern DW. Applied Multivariate Statistical Analysis, example 5.2:
# T2 = 9.74 (numbers from memory).
def test_hotelling_as_in_the_textbook():
    away = np.array([4.640 - 4, 45.400 - 50, 9.965 - 10])
    covariance = (
        np.array([[2.879, 10.010, -1.810], [10.010, 199.788, -5.640], [-1.810, -5.640, 3.628]]) / 20
    )
    statistic, p = compare_with_none(away, covariance, 20)
    assert statistic * 19 * 3 / 17 == pytest.approx(9.74, abs=0.005)
    assert p == pytest.approx(stats.f.sf(9.74 * 17 / (19 * 3), 3, 17), rel=1e-3)
    assert isinstance(compare_with_none(away, covariance, 3), Refusal)
    assert compare_with_none(away, covariance, None)[1] == pytest.approx(
        stats.chi2.sf(9.74, 3), rel=1e-2
    )


def test_only_first_spells_of_followed_positional_episodes_enter(plan, table):
    keys = [f"EP-{k}" for k in range(200)]
    rng = np.random.default_rng(15)
    ends = examined(1.5 + rng.normal(size=200), rng)
    base = pd.DataFrame({"site": [f"S{k % 5:02d}" for k in range(200)], "episode_id": keys})
    spells = base.assign(
        endpoint="objective", spell=1, patient_id=keys, start_day=0, last_test_days=45.0, **ends
    )
    spells["status"] = np.where(np.isfinite(spells["right_days"]), "resolved", "unresolved")
    spells.loc[:9, "status"] = "not_tested_again"
    again = spells[20:30].assign(spell=2)
    other = spells.assign(endpoint="strict")
    verdict = dict.fromkeys(Adjudications.describe(), "") | {
        "positional": "yes", "canal": "posterior", "side": "right", "arm": "long",
        "mechanism": "canalolithiasis",
        "certainty": "definite", "known_day": 0, "recognised_day": pd.NA, "arm_basis": pd.NA,
        "side_by": "plane", "reclassified_day": pd.NA,
    }  # fmt: skip
    verdicts = base.assign(**{key: value for key, value in verdict.items() if key not in base})
    verdicts.loc[10:19, "positional"] = "undetermined"
    attempt = dict.fromkeys(Attempts.describe(), pd.NA) | {
        "session": 1,
        "spell": 1,
        "day": 0,
        "attempt": 1,
        "attempts": 1,
        "maneuver": "epley",
        "family": "epley",
        "at_risk": True,
        "fit": "yes",
    }
    attempts = base.assign(**{key: value for key, value in attempt.items() if key not in base})
    people = [
        {
            "site": s,
            "episode_id": e,
            "patient_id": e,
            "age_years": 40 + k % 40,
            "sex": ["female", "male"][k % 2],
        }
        for k, (s, e) in enumerate(zip(base["site"], keys, strict=True))
    ]
    estimates = estimate_resolution_regression(
        table("episodes", people),
        Spells.cast(pd.concat([spells, again, other], ignore_index=True)),
        Adjudications.cast(verdicts),
        Attempts.cast(attempts),
        plan,
    )
    terms = by_term(estimates)
    assert terms.loc["age_decade", "n_episodes"] == 180
    assert terms.loc["sex=male", "status"] == "ok" or terms.loc["sex=female", "status"] == "ok"
    assert terms.loc["cause", "note"] == "one class only"
    assert estimates["endpoint"].eq("objective").all()
