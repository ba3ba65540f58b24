"""Shares of reasons: exact limits against published ones, several reasons at once,
and a status where there are few."""

import pandas as pd
import pytest
from scipy.stats import beta

from pipeline.analyses.attempts.failure_reasons import estimate_failure_reasons
from schemas.derived import FailureReasons
from schemas.failure import EVIDENCE, REASON, TECHNIQUE, VIEW

VIEWS = list(VIEW)


def build(episodes: list[set[str]], views: list[str] = VIEWS) -> pd.DataFrame:
    """Reasons of each episode, the same in each view; episodes alternate between two sites."""
    rows = [
        {
            "site": f"S0{n % 2}",
            "episode_id": f"EP-{n}",
            "view": view,
            "reason": reason,
            "evidence": "x",
            "known_day": 7,
        }
        for view in views
        for n, reasons in enumerate(episodes)
        for reason in sorted(reasons)
    ]
    return FailureReasons.cast(pd.DataFrame(rows, columns=list(FailureReasons.describe())))


def share(estimates: pd.DataFrame, reason: str, view: str = "at_the_time") -> pd.Series:
    return estimates.set_index("stratum").loc[f"view={view},reason={reason}"]


@pytest.mark.parametrize(
    ("events", "total", "lower", "upper"),
    [
        # Newcombe RG. Stat Med 1998;17:857-872, table I, exact method (from memory)
        (81, 263, 0.2527, 0.3676),
        (15, 148, 0.0578, 0.1617),
        (0, 20, 0.0, 0.1684),
        (1, 29, 0.0009, 0.1776),
    ],
)
def test_exact_limits_as_published(events, total, lower, upper, plan):
    reasons = [{"technique"}] * events + [{"undetermined"}] * (total - events)
    row = share(estimate_failure_reasons(build(reasons), plan), "technique")
    assert row["estimate"] == pytest.approx(events / total)
    assert (round(row["lower"], 4), round(row["upper"], 4)) == (lower, upper)
    assert (row["n_episodes"], row["n_events"], row["n_sites"], row["status"]) == (
        total,
        events,
        2,
        "ok",
    )


def test_limits_are_quantiles_of_beta_distributions(plan):
    # Clopper CJ, Pearson ES. Biometrika 1934;26:404-413: one shape less above and below
    events, total = 3, 17
    row = share(
        estimate_failure_reasons(build([{"wrong_side"}] * events + [{"undetermined"}] * 14), plan),
        "wrong_side",
    )
    assert row["lower"] == pytest.approx(beta.ppf(0.025, events, total - events + 1))
    assert row["upper"] == pytest.approx(beta.ppf(0.975, events + 1, total - events))


def test_several_reasons_count_each_and_the_episode_once(plan):
    estimates = estimate_failure_reasons(
        build([{"technique", "wrong_side"}] * 6 + [{"technique"}] * 6), plan
    )
    technique, wrong_side = share(estimates, "technique"), share(estimates, "wrong_side")
    assert (technique["n_episodes"], technique["estimate"], wrong_side["estimate"]) == (12, 1, 0.5)
    assert "several" in technique["note"]


def test_who_was_never_tested_again_is_in_no_other_share(plan):
    reasons = (
        [{"technique"}] * 10
        + [{"undetermined"}] * 10
        + [{"never_tested_again"}] * 18
        + [{"never_tested_again", "not_positional"}] * 2
    )
    estimates = estimate_failure_reasons(build(reasons), plan)
    assert share(estimates, "technique")["estimate"] == 0.5
    assert share(estimates, "not_positional")["n_events"] == 0
    never = share(estimates, "never_tested_again")
    assert (never["estimate"], never["n_episodes"]) == (0.5, 40)
    assert (
        never["population"]
        != share(estimates, "technique")["population"]
        == "first maneuver failed"
    )


def test_the_largest_site_is_that_of_most_episodes_not_of_most_reasons(plan):
    # S00 has ten of twenty failures, S01 the other ten with three reasons each
    reasons = [{"technique"}, {"technique", "wrong_side", "wrong_canal"}] * 10
    row = share(estimate_failure_reasons(build(reasons), plan), "technique")
    assert (row["n_episodes"], row["n_sites"], row["by_site"]) == (20, 2, "S00=10/10 S01=10/10")


@pytest.mark.parametrize(
    ("total", "status"), [(10, "too_few"), (11, "ok"), (12, "ok"), (0, "too_few")]
)
def test_few_episodes_give_a_status(total, status, plan):
    row = share(estimate_failure_reasons(build([{"technique"}] * total), plan), "technique")
    assert row["status"] == status
    assert pd.isna(row["estimate"]) is (status != "ok")


def test_each_view_and_reason_has_one_row_whatever_the_order(plan):
    reasons = build([{"technique"}] * 12 + [{"wrong_arm", "undetermined"}] * 3)
    estimates = estimate_failure_reasons(reasons, plan)
    expected = len(VIEW) * len(REASON) + len(TECHNIQUE)
    assert len(estimates) == expected == estimates["stratum"].nunique()
    pd.testing.assert_frame_equal(
        estimate_failure_reasons(reasons.sample(frac=1, random_state=1), plan), estimates
    )


def test_parts_of_the_technique_are_planted_and_come_back(plan):
    reasons = build([{"technique"}] * 12 + [{"undetermined"}] * 12, VIEWS[:1])
    held, turned = "hold_below_usual", "head_turn_outside_by_estimate head_hang_outside"
    evidence = [f"{held} {turned}"] * 3 + [turned] * 4 + ["not_completed"] * 5
    reasons.loc[reasons["reason"].eq("technique"), "evidence"] = evidence
    found = estimate_failure_reasons(reasons, plan)
    events = {part: share(found, f"technique,measure={part}")["n_events"] for part in TECHNIQUE}
    assert events == {"hold": 3, "angle": 7, "completed": 5, "doses": 0, "alone": 0}
    assert share(found, "technique,measure=angle")["n_episodes"] == 24


def test_the_parts_are_all_the_evidence_for_the_technique(plan):
    parts = [code for _, codes in TECHNIQUE.values() for code in codes]
    patterns = plan.failure.patterns
    assert sorted(parts) == sorted(c for c, p in patterns.items() if p.reason == "technique")
    assert set(parts) <= set(EVIDENCE)


def test_remission_is_not_estimated_before_it_can_be_known(plan):
    estimates = estimate_failure_reasons(build([{"remission_anyway"}] * 12, VIEWS[1:]), plan)
    assert share(estimates, "remission_anyway", "in_hindsight")["estimate"] == 1
    assert share(estimates, "remission_anyway")["status"] == "not_identified"


def test_views_do_not_mix(plan):
    reasons = pd.concat(
        [build([{"undetermined"}] * 12, VIEWS[:1]), build([{"wrong_arm"}] * 12, VIEWS[1:])]
    )
    estimates = estimate_failure_reasons(reasons, plan)
    assert [share(estimates, "wrong_arm", view)["estimate"] for view in VIEWS] == [0, 1]


def test_where_sites_differ_the_limits_say_so(any_width):
    reasons = [{"technique"}] * 30 + [{"undetermined"}] * 90
    alike, differ = build(reasons, VIEWS[:1]), build(reasons, VIEWS[:1])
    alike["site"] = [f"S{n % 4}" for n in range(120)]
    differ["site"] = [f"S{n // 30}" for n in range(120)]  # one site has all of it
    one, other = (
        share(estimate_failure_reasons(rows, any_width), "technique") for rows in (alike, differ)
    )
    assert (one["estimate"], one["upper"]) == (0.25, pytest.approx(beta.ppf(0.975, 31, 90)))
    assert other["lower"] < 0.05 < one["lower"]
