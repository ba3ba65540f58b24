"""Technique: planted effects come back, where nothing is planted none is found,
and few data give a status."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from pipeline.analyses.attempts.rows import name_place
from pipeline.analyses.attempts.technique import estimate_technique
from tests.pool_of_attempts import Truth, simulate_attempts

USUAL_HOLD = {"epley": 20.0, "semont": 30.0, "gufoni": 120.0}
CODES = {"epley": "epley", "semont": "semont", "gufoni": "gufoni_geotropic"}
PLANTED = Truth(level=-0.2, halved=-0.7, stopped=-1.0, patient_sd=0.0, site_sd=0.3)


def simulate(n: int, seed: int, truth: Truth, **more) -> tuple[pd.DataFrame, ...]:
    """Episodes, treatments, verdicts and attempts; holds by the halvings of the usual one."""
    episodes, verdicts, attempts = simulate_attempts(n, seed, truth, **more)
    treatments = attempts[["site", "episode_id", "day"]].assign(
        maneuver=attempts["family"].map(CODES),
        hold_s=attempts["family"].map(USUAL_HOLD) / 2 ** attempts["halvings"],
        head_turn_deg=np.nan,
        head_hang_deg=np.nan,
    )
    return episodes, treatments, verdicts, attempts.drop(columns="halvings")


def get(estimates: pd.DataFrame, term: str, stratum: str = "all") -> pd.Series:
    chosen = estimates[estimates["term"].eq(term) & estimates["stratum"].eq(stratum)]
    assert len(chosen) == 1, (term, stratum)
    return chosen.iloc[0]


@pytest.fixture(scope="module")
def stated(plan) -> pd.DataFrame:
    return estimate_technique(*simulate(4000, 1, PLANTED), plan)


def test_the_planted_dose_comes_back(stated):
    for term, truth in (
        ("hold=half of the usual", -0.7),
        ("hold=three quarters of the usual", -0.7 * np.log2(4 / 3)),
        ("completed=no", -1.0),
    ):
        row = get(stated, term)
        assert abs(np.log(row["estimate"]) - truth) < 4 * row["std_error"], term
        assert row["std_error"] < 0.3
        assert row["lower"] < row["estimate"] < row["upper"]


def test_failures_avoided_are_those_of_the_same_patients_done_as_usual(stated):
    # the same draws with nothing planted: what would have been, patient by patient
    as_usual = simulate(4000, 1, Truth(level=-0.2, patient_sd=0.0, site_sd=0.3))[3]
    as_given = simulate(4000, 1, PLANTED)[3]
    failed, would = (
        t.loc[t["session"].eq(1), "outcome"].eq("positive").mean() for t in (as_given, as_usual)
    )
    row = get(stated, "failures_avoided")
    assert row["lower"] < 1 - would / failed < row["upper"]
    assert get(stated, "failed_as_given")["estimate"] == pytest.approx(failed, abs=0.02)
    assert get(stated, "failed_as_usual")["estimate"] == pytest.approx(would, abs=0.03)
    parts = [get(stated, "failures_avoided", f"measure={m}") for m in ("hold", "completed")]
    assert all(0 < part["estimate"] < row["estimate"] for part in parts)


def test_what_was_not_recorded_gives_a_status(stated):
    for term in ("head_turn=10 degrees off", "head_hang=20 degrees off"):
        assert get(stated, term)["status"] == "too_few"
    assert not stated["stratum"].eq("measure=head_turn").any()


def test_order_of_rows_changes_no_byte(plan):
    tables = simulate(400, 3, PLANTED)
    once = estimate_technique(*tables, plan)
    again = estimate_technique(
        *(table.sample(frac=1, random_state=k) for k, table in enumerate(tables)), plan
    )
    pd.testing.assert_frame_equal(once, again, check_exact=True)


@pytest.mark.parametrize(("n", "sites", "status"), [(8, 3, "too_few"), (300, 2, "not_identified")])
def test_few_episodes_or_sites_give_a_status_and_no_number(plan, n, sites, status):
    estimates = estimate_technique(*simulate(n, 6, PLANTED, sites=sites), plan)
    assert estimates[["term", "status"]].values.tolist() == [["model", status]]


def test_a_deviation_that_few_have_is_refused_and_the_rest_is_not(plan):
    tables = simulate(600, 5, PLANTED)
    tables[1]["hold_s"] = np.where(np.arange(len(tables[1])) < 5, 1.0, 300.0)
    estimates = estimate_technique(*tables, plan)
    assert get(estimates, "hold=half of the usual")["status"] == "too_few"
    assert get(estimates, "completed=no")["status"] == "ok"


def test_places_by_who_watched(plan):
    sessions = pd.DataFrame(
        [
            ("clinic", "clinician"),
            ("home", "self_unsupervised"),
            ("home", "caregiver"),
            ("telehealth", "self_supervised"),
            ("several", "clinician"),
            ("home", "several"),
        ],
        columns=["setting", "performed_by"],
    )
    assert name_place(sessions, plan.failure.alone).tolist() == [
        *("clinic", "home alone", "home supervised", "by video", "several", "several")
    ]


@pytest.mark.slow
def test_where_nothing_is_planted_one_interval_in_twenty_leaves_out_none(plan):
    pools, null = 200, Truth(level=-0.2, patient_sd=0.0)
    found = dict.fromkeys(("hold=half of the usual", "completed=no", "failures_avoided"), 0)
    for seed in range(pools):
        estimates = estimate_technique(*simulate(700, 100 + seed, null), plan)
        for term in found:
            row = get(estimates, term)
            found[term] += bool(row["status"] == "ok" and row["p_value"] < 0.05)
    assert max(found.values()) <= binom.ppf(0.999, pools, 0.05), found
