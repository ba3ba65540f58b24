"""Repeat or change after a failed first session: planted effects come back, guards hold,
and numbers fit together."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.order.arms import fit_arm, measure_arms
from pipeline.analyses.order.choices import list_choices
from pipeline.analyses.order.propensity import weigh_choice
from pipeline.analyses.order.second_line import estimate_second_line
from schemas.derived import Adjudications, Attempts, Spells
from tests.unit.conftest import build_table

OUTCOME = ["left_days", "right_days"]
EFFECT, REPEAT_RATE, PER_ADHERENT, ADHERENT = np.log(1.5), 0.08, 0.3, 0.4


def test_an_arm_named_by_the_response_is_unknown_at_the_choice_and_never_compared(plan):
    pool = draw(3, effect=0.0)
    named = pool["adjudications"].assign(arm="short", arm_basis="treatment_response")
    tables = pool | {"adjudications": Adjudications.cast(named)}
    rows = list_choices(**tables, endpoint="objective", config=plan)
    assert set(rows["canal_arm"]) == {"posterior unknown"}
    assert set(rows["first_fit"]) == {"unknown"}
    estimates = estimate_second_line(**tables, config=plan)
    circular = estimates[
        estimates["stratum"].str.startswith("variant=short_arm_by_treatment_response")
    ]
    compared = circular[circular["method"].ne("count")]
    assert set(compared["status"]) == {"not_identified"}
    assert compared["note"].str.contains("circular").all()


def draw(seed: int, *, effect: float, n: int = 600, sites: int = 10) -> dict[str, pd.DataFrame]:
    """Episodes with a failed first session.

    Adherent debris is changed more often and resolves late; after the second session the hazard is
    constant, and changing multiplies it by exp(effect).
    """
    rng = np.random.default_rng([20, seed])
    site, adherent, old = rng.integers(0, sites, n), rng.random(n) < ADHERENT, rng.random(n) < 0.3
    level = rng.normal(0, 0.5, sites)[site]
    changed = rng.random(n) < 1 / (1 + np.exp(0.8 - 1.6 * adherent - 0.5 * old - level))
    rate = REPEAT_RATE * np.where(adherent, PER_ADHERENT, 1) * np.exp(effect * changed)
    time = rng.exponential(1 / rate)
    visits = np.sort(rng.integers([3, 15, 28, 50], [12, 25, 45, 90], (n, 4)), axis=1)
    right = np.where(visits >= time[:, None], visits, np.inf).min(axis=1)
    left = np.where(visits < time[:, None], visits, 0).max(axis=1)
    base = pd.DataFrame(
        {"site": [f"S{k:02d}" for k in site], "episode_id": [f"EP-{i}" for i in range(n)]}
    )
    episodes = build_table(
        "episodes",
        [{"onset_day": -60 if each else -5, "patient_id": f"PT-{i}"} for i, each in enumerate(old)],
    ).assign(**base)
    verdict = {
        "positional": "yes",
        "canal": "posterior",
        "side": "right",
        "arm": "long",
        "certainty": "definite",
    }
    texts = dict.fromkeys(["variants", "side_signs", "criteria", "reasons_against"], "")
    empty = {"arm_basis": pd.NA, "reclassified_day": pd.NA, "side_by": "plane"}
    known = verdict | texts | empty | {"known_day": 0, "recognised_day": pd.NA}
    adjudications = base.assign(
        **known, mechanism=np.where(adherent, "cupulolithiasis", "canalolithiasis")
    )
    plain = {
        "spell": 1,
        "attempts": 1,
        "side": "right",
        "fit": "yes",
        "setting": "clinic",
        "performed_by": "clinician",
    }
    plain |= {
        "completed": "yes",
        "at_risk": True,
        "same_visit": "not_tested_again",
        "patient_id": episodes["patient_id"],
    }
    sessions = [
        base.assign(
            **plain,
            session=number,
            attempt=number,
            day=day,
            family=family,
            maneuver=family,
            outcome=outcome,
        )
        for number, day, family, outcome in (
            (1, 0, "epley", "positive"),
            (2, 7, np.where(changed, "semont", "epley"), "not_tested_again"),
        )
    ]
    attempts = pd.concat(sessions, ignore_index=True).assign(
        previous_maneuver=pd.NA,
        next_test_days=7.0,
        next_vertigo=pd.NA,
        next_duration_s=np.nan,
        next_peak_spv=np.nan,
    )
    status = np.where(np.isfinite(right), "resolved", "unresolved")
    interval = {
        "left_days": left + 7.0,
        "right_days": right + 7.0,
        "last_test_days": 97.0,
        "status": status,
    }
    spells = base.assign(
        endpoint="objective", spell=1, start_day=0, patient_id=episodes["patient_id"], **interval
    )
    tables = {
        "adjudications": (Adjudications, adjudications),
        "attempts": (Attempts, attempts),
        "spells": (Spells, spells),
    }
    return {"episodes": episodes} | {
        name: schema.cast(rows) for name, (schema, rows) in tables.items()
    }


def true_risk(day: int, effect: float) -> float:
    """The share resolved by the day if all had the hazard times exp(effect)."""
    rate = REPEAT_RATE * np.exp(effect)
    return (1 - ADHERENT) * -np.expm1(-rate * day) + ADHERENT * -np.expm1(
        -rate * PER_ADHERENT * day
    )


def differ(plan, effect: float, pools: int) -> pd.DataFrame:
    """The difference by the primary day in each of many pools, weighted and naive."""
    settings, rows_of_pools = plan.study.second_line, []
    for seed in range(pools):
        rows = list_choices(**draw(seed, effect=effect), endpoint="objective", config=plan)
        contrast = weigh_choice(rows, settings.terms, settings.truncate, plan.study.guards)
        left, right = (contrast.rows[name].to_numpy(float) for name in OUTCOME)
        row = {}
        for name, weights in (("weighted", contrast.weights), ("naive", contrast.unweighted)):
            arms = [
                fit_arm(left[m], right[m], weights[:1, m], settings.horizon_day)
                for m in (~contrast.changed, contrast.changed)
            ]
            row[name] = (
                arms[1].risk(settings.primary_day)[0] - arms[0].risk(settings.primary_day)[0]
            )
        rows_of_pools.append(row)
    return pd.DataFrame(rows_of_pools)


@pytest.mark.parametrize("effect", [EFFECT, 0.0])
def test_weights_bring_the_planted_difference_back_and_the_naive_comparison_does_not(plan, effect):
    estimates, day = differ(plan, effect, 25), plan.study.second_line.primary_day
    truth = true_risk(day, effect) - true_risk(day, 0)
    error = estimates.std() / np.sqrt(len(estimates))
    assert abs(estimates["weighted"].mean() - truth) < 4 * error["weighted"]
    assert estimates["naive"].mean() - truth < -8 * error["naive"]


def read(estimates: pd.DataFrame, stratum: str = "all") -> pd.DataFrame:
    return estimates[estimates["stratum"].eq(stratum)].set_index("term")


@pytest.fixture(scope="module")
def estimates(plan) -> pd.DataFrame:
    """The estimates of one pool without an effect."""
    return estimate_second_line(**draw(100, effect=0.0), config=plan)


def test_everyone_at_the_choice_is_counted(estimates):
    rows = read(estimates)
    choices = rows[rows.index.str.startswith("choice_")]
    assert choices["estimate"].sum() == rows.loc["failed_first_session", "estimate"] == 600
    compared = rows.loc[["choice_repeat", "choice_change"], "estimate"].sum()
    assert rows.loc["risk_difference_day_30", "n_episodes"] == compared


def test_numbers_fit_together(estimates, plan):
    rows = read(estimates)
    for prefix in ("", "naive_"):
        for day in plan.study.second_line.days:
            repeat, change, difference, ratio = (
                rows.loc[f"{prefix}risk_{kind}_day_{day}", "estimate"]
                for kind in ("repeat", "change", "difference", "ratio")
            )
            assert difference == pytest.approx(change - repeat)
            assert ratio == pytest.approx(change / repeat)
    numbers = rows[rows["lower"].notna()]
    assert (numbers["lower"] < numbers["estimate"]).all()
    assert (numbers["estimate"] < numbers["upper"]).all()
    assert 0.9 < rows.loc["weight_mean", "estimate"] < 1.1
    smd = rows.loc[rows.index.str.startswith("smd_after"), "estimate"].abs().max()
    assert smd < 0.2 < rows.loc["smd_before:mechanism=cupulolithiasis", "estimate"]


def test_p_values_are_told_of_the_pre_specified_family_only_and_adjusted_as_holm_does(any_width):
    """Holm's steps by hand: the smallest times the number of tests, the next times one less,
    never falling."""
    estimates = estimate_second_line(**draw(101, effect=EFFECT), config=any_width)
    primary = estimates[estimates["p_value"].notna()]
    assert set(primary["term"]) == {
        f"risk_difference_day_{any_width.study.second_line.primary_day}"
    }
    assert sorted(primary["stratum"]) == ["variant=adherent_debris", "variant=posterior_long_arm"]
    low, high = sorted(primary["p_value"])
    first = min(2 * low, 1)
    assert sorted(primary["p_adjusted"]) == pytest.approx([first, max(first, high)])


def test_limits_cover_no_effect_where_there_is_none(plan):
    """Of 12 pools fewer than 8 would be covered once in 5,000 times if each were at 95 %."""
    settings, covered = plan.study.second_line, 0
    for seed in range(200, 212):
        rows = list_choices(**draw(seed, effect=0.0, n=400), endpoint="objective", config=plan)
        contrast = weigh_choice(rows, settings.terms, settings.truncate, plan.study.guards)
        left, right = (contrast.rows[name].to_numpy(float) for name in OUTCOME)
        arms = [
            fit_arm(left[m], right[m], contrast.weights[:, m], settings.horizon_day)
            for m in (~contrast.changed, contrast.changed)
        ]
        limits = {
            measure.term: measure.limit()
            for measure in measure_arms(*arms, settings.days, settings.horizon_day)
        }
        _, low, high, _ = limits[f"risk_difference_day_{settings.primary_day}"]
        covered += low <= 0 <= high
    assert covered >= 8


def test_same_input_same_numbers_whatever_the_order(plan):
    tables = draw(102, effect=0.0, n=250)
    shuffled = {
        name: rows.sample(frac=1, random_state=k) for k, (name, rows) in enumerate(tables.items())
    }
    straight, mixed = (estimate_second_line(**each, config=plan) for each in (tables, shuffled))
    pd.testing.assert_frame_equal(straight, mixed, check_exact=True)


@pytest.mark.parametrize(
    ("n", "sites", "status"), [(8, 4, "too_few"), (0, 4, "too_few"), (400, 2, "not_identified")]
)
def test_few_data_give_a_status_and_no_number(plan, n, sites, status):
    tables = draw(103, effect=0.0, n=max(n, 20), sites=sites)
    kept = tables["episodes"]["episode_id"][:n]
    tables = {name: rows[rows["episode_id"].isin(kept)] for name, rows in tables.items()}
    rows = read(estimate_second_line(**tables, config=plan))
    row = rows.loc["risk_difference_day_30"]
    assert row["status"] == status
    assert pd.isna(row["estimate"])


def test_limits_of_an_arm_that_is_not_followed_to_the_day_reach_to_all_that_may_be(plan):
    tables = draw(104, effect=0.0)
    spells = tables["spells"]
    right = spells["right_days"].where(spells["right_days"] <= 27, np.inf)
    tables["spells"] = Spells.cast(
        spells.assign(left_days=spells["left_days"].clip(upper=27), right_days=right)
    )
    # day 27 of the spell is day 20 after the second session
    rows = read(estimate_second_line(**tables, config=plan))
    assert rows.loc["risk_difference_day_7", "status"] == "ok"
    assert (rows.loc[["risk_repeat_day_30", "risk_change_day_30"], "upper"] == 1).all()
    assert (
        rows.loc["risk_repeat_day_30", "note"]
        == "by day 30 the data allow shares of 0.507 to 1.000"
    )
    soonest = (
        rows.loc["risk_repeat_day_30", "estimate"] * 10
    )  # days that everybody else would lose by resolving on day 21
    assert rows.loc["mean_days_repeat", "estimate"] - rows.loc[
        "mean_days_repeat", "lower"
    ] > 0.9 * (10 - soonest)
    assert rows.loc["risk_difference_day_30", "status"] == "too_wide"


def test_resolution_is_spread_evenly_where_the_data_do_not_say_when():
    left, right = np.array([0.0, 0.0, 10.0, 20.0]), np.array([10.0, 10.0, 20.0, np.inf])
    arm = fit_arm(left, right, np.ones((1, 4)), 20)
    assert [arm.risk(day)[0] for day in (0, 5, 10, 15, 20)] == pytest.approx(
        [0, 0.25, 0.5, 0.625, 0.75], abs=1e-6
    )
    assert arm.rmst()[0] == pytest.approx(10 * 0.75 + 10 * 0.375, abs=1e-5)
    assert arm.allow(5) == pytest.approx((0, 0.5), abs=1e-6)
    assert arm.count(10) == (2, 2)
    twice = fit_arm(np.tile(left, 2), np.tile(right, 2), np.full((1, 8), 0.5), 20)
    np.testing.assert_allclose(twice.survival, arm.survival, atol=1e-6)


def test_the_jackknife_of_shares_is_that_of_their_mean_where_days_are_known():
    """Seen every day, a share is a mean of yes and no: its jackknife error by site has a closed
    form for sites of equal size."""
    rng = np.random.default_rng(0)
    resolved = rng.random((6, 30)) < 0.5
    right = np.where(resolved.ravel(), 10.0, np.inf)
    left, site = np.where(resolved.ravel(), 9.0, 10.0), np.repeat(np.arange(6), 30)
    weights = np.vstack([np.ones(180), *(site != k for k in range(6))]).astype(float)
    arm = fit_arm(left, right, weights, 10)
    measure = next(
        measure
        for measure in measure_arms(arm, arm, (10,), 10)
        if measure.term == "risk_repeat_day_10"
    )
    assert measure.values[0] == pytest.approx(resolved.mean(), abs=1e-6)
    assert measure.limit()[0] == pytest.approx(
        resolved.mean(axis=1).std(ddof=1) / np.sqrt(6), abs=1e-5
    )
