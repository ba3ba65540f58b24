"""Curves: planted truth comes back, strata never mix definitions,
and few data give a status instead of a number."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from pipeline.analyses.resolution.curves import estimate_curves, split_strata
from schemas.derived import Adjudications, Attempts, Spells


def simulate(n: int, seed: int, *, sites: int = 8, visits: tuple[int, ...] = (1, 3, 7, 14, 30)):
    """Spells with exponential resolution (mean 6 days) seen at visits of which each is kept with
    probability 0.7."""
    rng = np.random.default_rng(seed)
    time = rng.exponential(6, n)
    kept = rng.random((n, len(visits))) < 0.7
    days = np.where(kept, visits, np.nan)
    left = np.nanmax(np.where(days < time[:, None], days, 0), axis=1)
    right = np.nanmin(np.where(days >= time[:, None], days, np.inf), axis=1)
    last = np.nanmax(np.where(kept, days, 0), axis=1)
    base = {
        "site": [f"S{1 + i % sites:02d}" for i in range(n)],
        "episode_id": [f"EP-{i}" for i in range(n)],
    }
    spells = pd.DataFrame(
        base
        | {
            "endpoint": "objective",
            "spell": 1,
            "patient_id": [f"PT-{i}" for i in range(n)],
            "start_day": 0,
        }
    )
    spells["left_days"], spells["right_days"], spells["last_test_days"] = left, right, last
    spells["status"] = np.select(
        [np.isfinite(right), last > 0], ["resolved", "unresolved"], "not_tested_again"
    )
    verdict = {
        "positional": "yes",
        "variants": "",
        "canal": "posterior",
        "side": "right",
        "arm": "long",
        "arm_basis": pd.NA,
    }
    verdict |= {
        "mechanism": "canalolithiasis",
        "certainty": "definite",
        "known_day": 0,
        "recognised_day": pd.NA,
        "side_by": "plane",
        "side_signs": "",
        "reclassified_day": pd.NA,
        "criteria": "",
        "reasons_against": "",
    }
    return (
        Spells.cast(spells),
        Adjudications.cast(pd.DataFrame(base).assign(**verdict)),
        Attempts.empty(),
    )


def shares(estimates: pd.DataFrame, stratum: str = "all") -> pd.DataFrame:
    return estimates[estimates["stratum"].eq(stratum)].set_index("term")


def test_planted_shares_come_back(plan):
    estimates = shares(estimate_curves(*simulate(4000, seed=1), plan))
    for day in (1, 7, 14, 30):
        row = estimates.loc[f"resolved_by_day_{day}"]
        assert abs(row["estimate"] - (1 - np.exp(-day / 6))) < 4 * row["std_error"]
        assert row["lower"] <= row["estimate"] <= row["upper"]


def test_same_input_same_numbers_whatever_the_order(plan):
    spells, verdicts, attempts = simulate(300, seed=2)
    once = estimate_curves(spells, verdicts, attempts, plan)
    again = estimate_curves(
        spells.sample(frac=1, random_state=0),
        verdicts.sample(frac=1, random_state=1),
        attempts,
        plan,
    )
    pd.testing.assert_frame_equal(once, again)


@pytest.mark.parametrize(("n", "status"), [(8, "too_few"), (200, "ok")])
def test_few_episodes_give_a_status_and_no_number(plan, n, status):
    row = shares(estimate_curves(*simulate(n, seed=3), plan)).loc["resolved_by_day_7"]
    assert row["status"] == status
    assert pd.isna(row["estimate"]) == (status != "ok")


def test_no_certainty_before_anything_could_be_seen(plan):
    estimates = shares(estimate_curves(*simulate(400, seed=4, visits=(7, 14, 30)), plan))
    assert estimates.loc["resolved_by_day_1", "status"] == "not_identified"


@pytest.mark.parametrize("resolved", [True, False])
def test_success_and_failure_of_all_are_answers_with_limits(plan, resolved):
    spells, verdicts, attempts = simulate(100, seed=5)
    seen = spells["last_test_days"].gt(0)
    if resolved:
        spells = spells.assign(
            left_days=0.0, right_days=1.0, last_test_days=30.0, status="resolved"
        )
    else:
        spells = spells.assign(
            right_days=np.inf, status="unresolved", left_days=spells["last_test_days"]
        )[seen]
    row = shares(estimate_curves(spells, verdicts, attempts, plan)).loc["resolved_by_day_7"]
    assert (row["status"], row["estimate"]) == ("ok", float(resolved))
    assert pd.isna(row["std_error"])
    far = row["lower"] if resolved else row["upper"]
    assert 0.01 < abs(far - resolved) < 0.1


@pytest.mark.parametrize("unresolved", [1, 3, 4])
def test_few_unresolved_hide_no_success(plan, unresolved):
    """54 of 58, 58 of 62, 38 of 41: numbers of the demonstration pool that were withheld because
    fewer than five were left."""
    spells, verdicts, attempts = simulate(58, seed=6)
    left = np.arange(58) < unresolved
    ends = {
        "left_days": np.where(left, 30.0, 0.0),
        "right_days": np.where(left, np.inf, 7.0),
        "last_test_days": 30.0,
    }
    spells = spells.assign(**ends, status=np.where(left, "unresolved", "resolved"))
    row = shares(estimate_curves(spells, verdicts, attempts, plan)).loc["resolved_by_day_7"]
    exact = binomtest(58 - unresolved, 58).proportion_ci(method="exact")
    assert row["estimate"] == pytest.approx(1 - unresolved / 58)
    assert row["lower"] <= exact.low + 1e-9
    assert row["upper"] >= exact.high - 1e-9


def test_limits_never_fall_while_the_share_rises(plan):
    for seed in range(5):
        estimates = shares(
            estimate_curves(*simulate(60, seed=20 + seed, visits=(1, 4, 9, 16, 25, 40)), plan)
        )
        for side in ("upper", "lower"):
            rows = estimates[
                estimates.index.str.startswith(f"unresolved_{side}_day_")
                & estimates["status"].eq("ok")
            ]
            for end in ("estimate", "lower", "upper"):
                assert (np.diff(rows[end].dropna().astype(float)) <= 1e-9).all()


def test_one_site_has_limits_and_says_what_they_leave_out(plan):
    one, many = (
        shares(estimate_curves(*simulate(200, seed=7, sites=sites), plan)) for sites in (1, 8)
    )
    row = one.loc["resolved_by_day_7"]
    assert "one site" in row["note"]
    assert row["estimate"] == many.loc["resolved_by_day_7", "estimate"]
    binomial = np.sqrt(row["estimate"] * (1 - row["estimate"]) / row["n_episodes"])
    assert (
        binomial < row["std_error"] < 2 * binomial
    )  # tests leave days open, so it is somewhat more than if all had been seen


def test_sites_that_differ_widen_the_limits(plan):
    spells, verdicts, attempts = simulate(400, seed=8)
    slow = spells["right_days"].gt(7).to_numpy()
    sites = np.sort(spells["site"].to_numpy(str))
    sorted_by_course = spells.assign(
        site=sites[np.argsort(np.argsort(slow, kind="stable"), kind="stable")]
    )
    moved = verdicts.assign(site=sorted_by_course["site"])
    alike, unlike = (
        shares(estimate_curves(rows, judged, attempts, plan)).loc["resolved_by_day_7"]
        for rows, judged in ((spells, verdicts), (sorted_by_course, moved))
    )
    assert alike["upper"] - alike["lower"] < 0.2
    assert unlike["status"] == "too_wide"


def test_limits_of_the_median_hold_it_and_the_interval_around_it(plan):
    row = shares(estimate_curves(*simulate(60, seed=9, visits=tuple(range(1, 25))), plan)).loc[
        "median_days"
    ]
    assert row["lower"] <= 6 * np.log(2) <= row["upper"]
    assert row["lower"] < row["estimate"] < row["upper"]
    # nobody was tested before day 7, when more than half were well: any day from the first on may
    # be the median
    seldom = shares(estimate_curves(*simulate(2000, seed=10, visits=(7, 14, 30)), plan)).loc[
        "median_days"
    ]
    assert (seldom["lower"], seldom["estimate"], seldom["upper"]) == (1, 7, 7)


def test_other_verdicts_never_enter(plan):
    spells, verdicts, attempts = simulate(300, seed=6)
    apart = verdicts.assign(
        positional=["yes"] * 200 + ["probable_non_positional"] * 50 + ["undetermined"] * 50
    )
    estimates = shares(estimate_curves(spells, Adjudications.cast(apart), attempts, plan))
    known = spells["status"].isin(["resolved", "unresolved"])
    assert estimates.loc["median_days", "n_episodes"] == known[:200].sum()


def test_short_arm_definitions_are_never_pooled():
    rows = pd.DataFrame(
        {
            "canal": "posterior",
            "arm": ["short"] * 3 + ["long"],
            "arm_basis": ["sitting_up", "sitting_up", "half_dix_hallpike", pd.NA],
        }
    )
    names = [name for name, _ in split_strata(rows, (("canal", "arm"),))]
    assert names == [
        "all",
        "canal=posterior,arm=long",
        "canal=posterior,arm=short,basis=half_dix_hallpike",
        "canal=posterior,arm=short,basis=sitting_up",
    ]
