"""Success of attempts: planted effects come back, selection is told apart from effects,
and few data give a status."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.attempts.fits import refit_rows
from pipeline.analyses.attempts.rows import describe_attempts
from pipeline.analyses.attempts.success import estimate_attempt_success
from pipeline.analyses.sensitivity.model_agreement import _check_attempts
from pipeline.statistics.cloglog import Rows
from pipeline.statistics.guard import Refusal
from schemas.notes import release_note
from tests.pool_of_attempts import Truth, simulate_attempts

N = 5000
ALONE = ("self_unsupervised",)


@pytest.fixture(scope="module")
def tables():
    return simulate_attempts(N, seed=1)


@pytest.fixture(scope="module")
def stated(tables, plan):
    return estimate_attempt_success(*tables, plan)


@pytest.fixture
def brief(plan, monkeypatch):
    """The plan, for tests of the model without patients: the other one,
    which takes most of the time, is refused."""
    refused = Refusal("not_converged", "left out of this test")
    monkeypatch.setattr("pipeline.analyses.attempts.success.fit_random", lambda *_: refused)
    return plan


def get(rows: pd.DataFrame, stratum: str, term: str) -> pd.Series:
    chosen = rows[rows["stratum"].eq(stratum) & rows["term"].eq(term)]
    assert len(chosen) == 1, (stratum, term)
    return chosen.iloc[0]


def test_planted_effects_on_a_patient_come_back(stated):
    for term, truth in (("fit=no", -0.6), ("attempt_number=2", -0.2), ("attempt_number=3", -0.4)):
        row = get(stated, "model=mixed", term)
        assert abs(np.log(row["estimate"]) - truth) < 4 * row["std_error"]
        assert row["std_error"] < 0.35
        assert row["lower"] < row["estimate"] < row["upper"]


def test_planted_spread_of_patients_comes_back_with_its_profile(stated):
    row = get(stated, "model=mixed", "patient_sd")
    assert row["lower"] < 0.8 < row["upper"]
    # how the likelihood falls is told only where it tells little, and as a declared sentence
    assert pd.isna(row["note"]) or release_note(row["note"], "ok")
    assert get(stated, "model=mixed", "site_sd")["status"] == "not_identified"


def test_without_random_intercepts_selection_looks_like_an_effect(stated):
    marginal, mixed = (
        get(stated, f"model={model}", "attempt_number=3")["estimate"]
        for model in ("marginal", "mixed")
    )
    assert marginal < 0.9 * mixed


def test_raw_and_predicted_chances_agree_in_sequence(stated):
    for number in ("1", "2", "3", "4+"):
        raw = get(stated, f"attempt_number={number}", "success_raw")["estimate"]
        row = get(stated, f"model=mixed,attempt={number}", "success_in_sequence")
        assert abs(row["estimate"] - raw) < 0.03


def test_resolved_shares_are_those_of_the_simulated_patients(stated, tables):
    attempts = tables[2]
    seen = attempts[attempts["outcome"].eq("negative")].groupby("session").size().cumsum() / N
    rows = [get(stated, f"model=mixed,up_to_attempts={k}", "resolved") for k in (1, 2, 3, 4)]
    for share, row in zip(seen, rows, strict=True):
        assert abs(row["estimate"] - share) < max(3 * row["std_error"], 0.015)
    estimates = [row["estimate"] for row in rows]
    reached = next(k for k, share in enumerate(estimates, start=1) if share >= 0.5)
    assert get(stated, "model=mixed", "attempts_to_resolve_50")["estimate"] == reached
    not_reached = get(stated, "model=mixed", "attempts_to_resolve_90")
    assert (not_reached["status"] == "ok") == (max(estimates) >= 0.9)


@pytest.mark.parametrize(("slope", "fits"), [(1.0, True), (0.15, False)])
def test_an_even_hazard_is_told_from_an_effect_at_once(brief, slope, fits):
    tables = simulate_attempts(
        2500, seed=3, truth=Truth(level=-2.2 if fits else -0.6, slope=slope, patient_sd=0.0)
    )
    row = get(estimate_attempt_success(*tables, brief), "model=marginal", "log_gap_slope")
    assert abs(row["estimate"] - slope) < 4 * row["std_error"]
    assert (row["lower"] <= 1 <= row["upper"]) == fits
    assert ("does not fit" in row["note"]) == (not fits)


def test_sites_that_each_test_after_the_same_days_tell_nothing_of_the_gap(brief):
    # a slope would stand for the levels of the sites, whatever it was
    episodes, verdicts, attempts = simulate_attempts(2500, seed=3, truth=Truth(patient_sd=0.0))
    days = 3 + attempts["site"].str[1:].astype(int)
    fixed = attempts.assign(next_test_days=days.astype("Float64"))
    rows = estimate_attempt_success(episodes, verdicts, fixed, brief)
    slope = get(rows, "model=marginal", "log_gap_slope")
    assert (slope["status"], pd.isna(slope["estimate"])) == ("not_identified", True)
    begun = fixed[fixed["session"].eq(1) & fixed["outcome"].ne("not_tested_again")]
    seen = begun["outcome"].eq("negative").mean()
    success = get(rows, "model=marginal,attempt=1", "success")["estimate"]
    assert abs(success - seen) < 0.01


def test_order_of_rows_changes_no_byte(plan):
    tables = simulate_attempts(300, seed=4)
    once = estimate_attempt_success(*tables, plan)
    again = estimate_attempt_success(
        *(table.sample(frac=1, random_state=k) for k, table in enumerate(tables)), plan
    )
    pd.testing.assert_frame_equal(once, again, check_exact=True)


@pytest.mark.parametrize(("n", "sites", "status"), [(8, 3, "too_few"), (300, 2, "not_identified")])
def test_few_episodes_or_sites_give_a_status_and_no_number(plan, n, sites, status):
    rows = estimate_attempt_success(*simulate_attempts(n, seed=6, sites=sites), plan)
    model = get(rows, "model=marginal", "model")
    assert model["status"] == status
    assert rows[rows["stratum"].str.startswith("model=")].shape[0] == 1


def test_attempts_that_all_succeed_give_a_status(plan):
    episodes, verdicts, attempts = simulate_attempts(200, seed=7)
    never = attempts.assign(outcome="negative")
    rows = estimate_attempt_success(episodes, verdicts, never, plan)
    assert get(rows, "model=marginal", "model")["status"] == "too_few"


@pytest.mark.parametrize("outcome", ["negative", "positive"])
def test_where_all_end_alike_there_is_a_status_and_no_second_fit(plan, outcome):
    episodes, verdicts, attempts = simulate_attempts(300, seed=7, longest=1)
    alike = attempts.assign(outcome=outcome)
    rows = estimate_attempt_success(episodes, verdicts, alike, plan)
    assert get(rows, "model=marginal", "model")["status"] == "too_few"
    described = describe_attempts(episodes, verdicts, alike, plan.failure.alone)
    (_, difference, counts), _ = _check_attempts(described, plan)
    assert isinstance(difference, Refusal)
    assert counts["n_episodes"] == 300


def test_an_effect_seen_at_one_site_only_is_withheld(brief):
    episodes, verdicts, attempts = simulate_attempts(1500, seed=8)
    home = attempts["setting"].eq("home") & attempts["site"].ne("S003")
    attempts.loc[home, ["setting", "performed_by"]] = ["clinic", "clinician"]
    row = get(
        estimate_attempt_success(episodes, verdicts, attempts, brief),
        "model=marginal",
        "place=home alone",
    )
    assert row["status"] == "not_identified"
    assert "rests on one site" in row["note"]


def test_a_separated_class_is_refused_and_pulls_no_other(brief):
    episodes, verdicts, attempts = simulate_attempts(700, seed=12)
    late = verdicts["episode_id"].str.endswith("7") & verdicts["canal"].eq("lateral")
    odd = attempts.merge(verdicts[late], on=["site", "episode_id"])["episode_id"]
    attempts.loc[attempts["episode_id"].isin(odd), ["fit", "outcome"]] = [
        "not_applicable",
        "negative",
    ]
    stated = estimate_attempt_success(episodes, verdicts, attempts, brief)
    row = get(stated, "model=marginal", "fit=not_applicable")
    assert (row["status"], "separation" in row["note"]) == ("not_identified", True)
    assert "all, or none" in get(stated, "model=marginal,attempt=1", "success")["method"]
    apart = attempts[~attempts["episode_id"].isin(odd)]
    without = estimate_attempt_success(episodes, verdicts, apart, brief)
    for term in ("fit=no", "attempt_number=2", "previous=other family", "canal_arm=lateral long"):
        with_them, alone = (get(each, "model=marginal", term) for each in (stated, without))
        assert with_them["estimate"] == pytest.approx(alone["estimate"], rel=1e-5)
        assert with_them["n_episodes"] == alone["n_episodes"]


def test_stated_classes_have_their_people(stated, tables):
    rows = describe_attempts(*tables, ALONE)
    ratios = stated[
        stated["stratum"].str.fullmatch("model=[a-z]+") & stated["term"].str.contains("=")
    ]
    assert len(ratios) > 20
    for row in ratios.itertuples():
        term, _, value = row.term.partition("=")
        assert row.n_episodes == rows.loc[rows[term].eq(value), "episode_id"].nunique() > 0
        assert row.status != "ok" or rows[term].eq(row.comparison.partition("=")[2]).any()


def test_many_sites_have_a_random_intercept(plan):
    tables = simulate_attempts(1200, seed=9, sites=22, truth=Truth(site_sd=0.7, patient_sd=0.6))
    rows = estimate_attempt_success(*tables, plan)
    row = get(rows, "model=mixed", "site_sd")
    assert row["status"] == "ok"
    assert row["lower"] < 0.7 < row["upper"]


def test_raw_shares_add_up_to_all_attempts(stated, tables):
    rows = stated[
        stated["stratum"].str.startswith(("attempt_number=", "smaller cells: attempt_number"))
    ]
    assert rows["n_events"].sum() == tables[2]["outcome"].eq("negative").sum()


def test_the_last_class_counts_all_attempts_that_are_in_it(brief):
    tables = simulate_attempts(800, seed=11, sites=4, longest=6)
    rows = describe_attempts(*tables, ALONE)
    late = rows[rows["session"].ge(4)]
    assert rows["session"].eq(5).sum() > 11
    row = get(estimate_attempt_success(*tables, brief), "model=marginal,attempt=4+", "success")
    assert row["n_episodes"] == late["episode_id"].nunique()
    assert row["n_events"] == late["event"].sum()


def test_without_a_site_nothing_may_be_left_to_fit():
    design = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
    for rows in (
        Rows(design, np.zeros(3), np.ones(3), np.zeros(3)),  # all have the event
        Rows(np.zeros((3, 2)), np.zeros(3), np.ones(3), np.ones(3)),  # all classes are gone
    ):
        assert np.isnan(refit_rows(rows, np.zeros(2), 2)).all()
