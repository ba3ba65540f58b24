"""Handicap over time: planted means under missing totals, what counts as day 0,
nothing from the future, and a status for few data."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from pipeline.analyses.afterwards.handicap import (
    compare_by_resolution,
    describe_course,
    describe_falls,
    estimate_handicap_change,
)
from pipeline.analyses.afterwards.handicap_totals import (
    select_totals,
)
from pipeline.statistics.tidy import tidy_estimates
from schemas.derived import Adjudications, Spells

MEANS = {0: 46.0, 7: 30.0, 30: 22.0, 90: 16.0}


def simulate(
    seed: int, n: int = 400, sites: int = 8, *, lose_worse: bool = False, slope_sd: float = 5.0
):
    """Totals with the means MEANS, patients' own level and slope in log time, and sites;
    with `lose_worse` those with a high total on day 7 seldom come again."""
    rng = np.random.default_rng(seed)
    site = np.arange(n) % sites
    level = rng.normal(0, 9, n) + rng.normal(0, 3, sites)[site]
    slope, rows = rng.normal(0, slope_sd, n), []
    for k in range(n):
        for day, mean in MEANS.items():
            total = mean + level[k] + slope[k] * np.log1p(day) / np.log(31) + rng.normal(0, 5)
            rows.append((f"S{site[k]:02d}", f"EP-{k}", day, total))
            if lose_worse and day == 7 and total > 30 and rng.random() < 0.85:
                break
    totals = pd.DataFrame(rows, columns=["site", "episode_id", "day", "total"])
    return totals.assign(
        patient=totals["site"] + "|" + totals["episode_id"],
        canal="posterior",
        plan_day=totals["day"],
        seen=False,
    )


def tidy(rows) -> pd.DataFrame:
    shared = {"analysis": "handicap_change", "population": "test"}
    return tidy_estimates([{"stratum": "all"} | row for row in rows], **shared)


def by_term(rows) -> pd.DataFrame:
    return tidy(rows).set_index("term")


def build(followups: list[dict], right_days: dict[str, float], table, status: str = "resolved"):
    """Delivered and derived tables of treated positional episodes,
    one for each key of `right_days`."""
    keys = list(right_days)
    base = pd.DataFrame({"site": "S01", "episode_id": keys})
    spells = base.assign(
        endpoint="objective",
        spell=1,
        patient_id=keys,
        start_day=0,
        left_days=0.0,
        last_test_days=1.0,
    )
    spells = spells.assign(right_days=list(right_days.values()), status=status)
    verdict = dict.fromkeys(Adjudications.describe(), "") | {
        "positional": "yes", "canal": "posterior", "side": "right", "arm": "long",
        "mechanism": "canalolithiasis",
        "certainty": "definite", "known_day": 0, "recognised_day": pd.NA, "arm_basis": pd.NA,
        "side_by": "plane", "reclassified_day": pd.NA,
    }  # fmt: skip
    verdicts = base.assign(**{key: value for key, value in verdict.items() if key not in base})
    episodes = table("episodes", [{"episode_id": key, "patient_id": key} for key in keys])
    return (
        episodes,
        table("followups", followups),
        Adjudications.cast(verdicts),
        Spells.cast(spells),
    )


def test_planted_means_come_back(plan):
    away = []
    for seed in range(5):
        estimates = by_term(describe_course(simulate(seed, n=120, sites=5), plan.study))
        assert estimates["status"].eq("ok").all()
        away += [
            (estimates.loc[f"mean_day_{day}", "estimate"] - mean)
            / estimates.loc[f"mean_day_{day}", "std_error"]
            for day, mean in MEANS.items()
        ]
        change = estimates.loc["change_by_day_30"]
        assert change["estimate"] == pytest.approx(
            estimates.loc["mean_day_30", "estimate"] - estimates.loc["mean_day_0", "estimate"]
        )
    # errors by 5 sites: t with 4 degrees of freedom has a standard deviation of 1.41; means of one
    # pool share their sites
    assert abs(np.mean(away)) < 4 * 1.41 / np.sqrt(5)
    assert np.max(np.abs(away)) < 15.5  # 0.99995 quantile of t with 4 degrees of freedom


def test_totals_that_are_missing_because_earlier_ones_were_high_do_not_pull_the_mean_down(plan):
    rows = pd.concat(
        [
            simulate(seed, n=350, lose_worse=True).assign(
                episode_id=lambda r, s=seed: r["episode_id"] + f"-{s}",
                patient=lambda r, s=seed: r["patient"] + f"-{s}",
            )
            for seed in range(2)
        ]
    )
    estimates = by_term(
        describe_course(rows.sort_values(["site", "episode_id", "day"]), plan.study)
    )
    seen = rows.loc[rows["day"].eq(30), "total"].mean()
    assert seen < 20  # those who come are better off
    row = estimates.loc["change_by_day_30"]
    assert row["lower"] < MEANS[30] - MEANS[0] < row["upper"]
    assert row["estimate"] == pytest.approx(MEANS[30] - MEANS[0], abs=1.5)


def test_totals_that_fall_at_once_leave_the_mean_of_day_0_alone(plan):
    rows = simulate(6, n=400)
    lower = rows[rows["day"].eq(0)].assign(day=1, plan_day=np.nan, total=lambda r: r["total"] - 12)
    late = rows[rows["day"].eq(90)].assign(day=130, total=lambda r: r["total"] - 8)
    estimates, alone = (
        by_term(describe_course(each.sort_values(["site", "episode_id", "day"]), plan.study))
        for each in (pd.concat([rows, lower, late]), rows)
    )
    # straight from day 0 to 7 and level after day 90 they would move by some points
    for day in (0, 90):
        assert estimates.loc[f"mean_day_{day}", "estimate"] == pytest.approx(
            alone.loc[f"mean_day_{day}", "estimate"], abs=0.5
        )


def test_one_site_gives_limits_by_the_model_and_says_so(plan):
    row = by_term(describe_course(simulate(3, n=60, sites=1), plan.study)).loc["change_by_day_7"]
    assert row["status"] == "ok"
    assert "model" in row["method"]
    assert "sites differ" in row["note"]


def test_few_totals_near_a_day_give_a_status_and_leave_the_other_days_alone(plan):
    rows = simulate(4, n=120, sites=3)
    reduced = rows[rows["day"].ne(90) | rows["episode_id"].isin([f"EP-{k}" for k in range(9)])]
    estimates = by_term(describe_course(reduced, plan.study))
    assert estimates.loc[["mean_day_90", "change_by_day_90"], "status"].eq("too_few").all()
    without = by_term(describe_course(rows[rows["day"].ne(90)], plan.study))
    assert estimates.loc["mean_day_30", "estimate"] == without.loc["mean_day_30", "estimate"]
    assert by_term(describe_course(rows[:20], plan.study))["status"].eq("too_few").all()


@pytest.mark.parametrize("status", ["untreated", "incomplete_record"])
def test_untreated_and_incomplete_episodes_do_not_enter(plan, table, status):
    tables = build(
        [{"episode_id": "EP-1", "day": 7, "dhi_total": 20}], {"EP-1": np.inf}, table, status
    )
    assert select_totals(*tables, plan.study).empty


def test_what_is_seen_later_changes_nothing_before(plan, table):
    given = [
        {"episode_id": f"EP-{k}", "day": day, "dhi_total": 2 * (k % 9) + 10}
        for k in range(30)
        for day in (0, 6, 28)
    ]
    ends = {f"EP-{k}": 5.0 if k % 2 else 20.0 for k in range(30)}
    later = {key: end if end <= 6 else np.inf for key, end in ends.items()}
    one, other = (
        tidy(
            compare_by_resolution(
                select_totals(*build(given, right, table), plan.study), plan.study
            )
        )
        for right in (ends, later)
    )
    early = one["term"].str.endswith("_7")
    pd.testing.assert_frame_equal(one[early], other[early])
    assert not one[~early].equals(other[~early])


def test_means_by_resolution_are_means(plan):
    rows = simulate(5, n=120)
    rows["seen"] = rows["day"].ge(7) & (rows["episode_id"].str[-1].astype(int) < 4)
    estimates = tidy(compare_by_resolution(rows, plan.study)).set_index(["stratum", "term"])
    day_7 = rows[rows["day"].eq(7)]
    yes, no = (day_7.loc[day_7["seen"].eq(value), "total"].mean() for value in (True, False))
    assert estimates.loc[
        ("resolution_seen_by_then=yes", "mean_near_day_7"), "estimate"
    ] == pytest.approx(yes)
    assert estimates.loc[
        ("resolution_seen_by_then=no", "mean_near_day_7"), "estimate"
    ] == pytest.approx(no)
    assert estimates.loc[("all", "difference_near_day_7"), "estimate"] == pytest.approx(yes - no)


def test_shares_that_fell_are_counted_by_each_important_change(plan):
    start = np.array([40, 40, 40, 10] * 10)
    end = np.array([29, 22, 30, 0] * 10)  # falls of 11, 18, 10 and 10
    rows = pd.concat(
        [
            pd.DataFrame(
                {
                    "site": "S01",
                    "episode_id": [f"EP-{k}" for k in range(40)],
                    "day": day,
                    "plan_day": float(day),
                    "total": total,
                }
            )
            for day, total in ((0, start), (7, end))
        ]
    ).assign(seen=False)
    estimates = by_term(describe_falls(rows, plan.study))
    assert estimates.loc["fell_by_11_by_day_7", ["estimate", "n_events"]].tolist() == [0.5, 20]
    assert estimates.loc["fell_by_18_by_day_7", ["estimate", "n_events"]].tolist() == [0.25, 10]
    assert (
        estimates.loc["started_below_11", "n_events"]
        == estimates.loc["share_at_zero_day_7", "n_events"]
        == 10
    )
    exact = binomtest(20, 40).proportion_ci(method="exact")
    assert estimates.loc["fell_by_11_by_day_7", ["lower", "upper"]].tolist() == pytest.approx(
        [exact.low, exact.high]
    )
    assert estimates.loc["fell_by_11_by_day_30", "status"] == "too_few"


def test_limits_of_a_share_are_exact_and_wider_where_sites_differ(plan):

    def build_sites(hits: list[int]) -> pd.DataFrame:
        parts = [
            pd.DataFrame(
                {
                    "site": f"S{k:02d}",
                    "episode_id": [f"EP-{k}-{i}" for i in range(20)],
                    "total": [0] * h + [20] * (20 - h),
                }
            )
            for k, h in enumerate(hits)
        ]
        return pd.concat(parts).assign(day=0, plan_day=0.0, seen=False)

    exact = binomtest(48, 120).proportion_ci(method="exact")
    even = by_term(describe_falls(build_sites([8] * 6), plan.study)).loc["share_at_zero_day_0"]
    uneven = by_term(describe_falls(build_sites([2, 14, 5, 11, 3, 13]), plan.study)).loc[
        "share_at_zero_day_0"
    ]
    assert even[["lower", "upper"]].tolist() == pytest.approx([exact.low, exact.high])
    assert uneven["estimate"] == pytest.approx(0.4)
    assert uneven["lower"] < exact.low < exact.high < uneven["upper"]


def test_the_order_of_rows_changes_nothing(plan, table):
    rng = np.random.default_rng(6)
    given = [
        {"episode_id": f"EP-{k}", "day": day, "dhi_total": int(2 * rng.integers(3, 30))}
        for k in range(40)
        for day in (0, 6, 28)
    ]
    tables = build(given, {f"EP-{k}": float(5 + k) for k in range(40)}, table)
    one = estimate_handicap_change(*tables, plan)
    other = estimate_handicap_change(
        *(rows.sample(frac=1, random_state=2) for rows in tables), plan
    )
    pd.testing.assert_frame_equal(one, other)
