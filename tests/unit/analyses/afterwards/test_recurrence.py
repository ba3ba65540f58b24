"""Recurrence: time zero is the first negative day, intervals end where the return was seen,
and planted shares come back."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.afterwards.recurrence import (
    estimate_recurrence,
    list_reported_returns,
    list_returns,
)
from schemas.derived import Adjudications, Spells
from tests.failure_cases import LATER, RIGHT, SILENT, case, derive
from tests.unit.conftest import build_table

PER_DAY = 0.004


@pytest.fixture
def returns(table, plan):
    """A function from tests and contacts of one episode to its return, as seen and as told,
    or None if it was not resolved."""

    def find(tests, contacts=(), treatments=({},)):
        record = derive(
            {name: table(name, rows) for name, rows in case(tests, treatments, contacts).items()},
            plan,
        )
        seen = list_returns(record.spells, record.adjudications, "objective")
        gap = plan.study.resolution.recurrence_gap
        answers = list_reported_returns(seen, record.adjudications, record.followups, gap)
        columns = ["resolved_day", "left_days", "right_days"]
        return tuple(
            tuple(rows[columns].iloc[0]) if len(rows) else None for rows in (seen, answers)
        )

    return find


def examined(day: int, positive: bool) -> dict:
    return (RIGHT if positive else SILENT) | LATER | {"day": day}


def contact(day: int, back: str, **more) -> dict:
    return {"day": day, "contact": "telephone", "recurrence_reported": back} | more


def test_the_return_lies_after_the_last_test_without_it(returns):
    tests = [
        RIGHT,
        examined(3, True),
        examined(10, False),
        examined(40, False),
        examined(100, True),
        examined(130, False),
    ]
    assert returns(tests)[0] == (10, 30, 90)


def test_time_counts_from_the_first_negative_day_and_goes_on_while_nothing_is_seen(returns):
    assert returns([RIGHT, examined(10, False), examined(40, False)])[0] == (10, 30, np.inf)
    assert returns([RIGHT, examined(10, False)])[0] == (10, 0, np.inf)


@pytest.mark.parametrize(("day", "expected"), [(23, (30, 0, np.inf)), (24, (10, 0, 14))])
def test_a_return_within_the_gap_is_the_same_spell_and_moves_time_zero(
    returns, plan, day, expected
):
    assert plan.study.resolution.recurrence_gap == 14
    assert (
        returns([RIGHT, examined(10, False), examined(day, True), examined(30, False)])[0]
        == expected
    )


def test_whoever_was_not_resolved_is_not_at_risk(returns):
    assert returns([RIGHT, examined(10, True)]) == (None, None)


def test_answers_bound_the_reported_return(returns):
    tests = [RIGHT, examined(10, False)]
    contacts = [
        contact(20, "no"),
        contact(60, "no"),
        contact(80, "unknown"),
        contact(90, "yes"),
        contact(200, "no"),
    ]
    assert returns(tests, contacts)[1] == (10, 50, 80)
    assert returns(tests, contacts[:3])[1] == (10, 50, np.inf)


def test_a_report_within_the_gap_or_before_resolution_is_no_recurrence(returns):
    tests = [RIGHT, examined(10, False)]
    assert returns(tests, [contact(5, "yes"), contact(23, "yes"), contact(40, "no")])[1] == (
        10,
        30,
        np.inf,
    )
    assert returns(tests, [contact(24, "yes")])[1] == (10, 0, 14)


def test_a_yes_outweighs_a_no_of_the_same_day(returns):
    contacts = [contact(60, "no"), contact(60, "yes", contact="clinic")]
    assert returns([RIGHT, examined(10, False)], contacts)[1] == (10, 0, 50)


def simulate(
    n: int, seed: int, *, sites: int = 8
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Spells resolved on day 5 that return with a constant hazard once the gap has passed,
    and are seen at a few later visits."""
    rng = np.random.default_rng(seed)
    time = 14 + rng.exponential(1 / PER_DAY, n)
    visits = 10 * np.sort(rng.integers(2, 30, (n, 4)), axis=1)
    after = np.where(visits >= time[:, None], visits, np.inf).min(axis=1)
    before = np.where(visits < time[:, None], visits, 0).max(axis=1)
    base = pd.DataFrame(
        {
            "site": [f"S{1 + i % sites:02d}" for i in range(n)],
            "episode_id": [f"EP-{i}" for i in range(n)],
        }
    )
    shared = base.assign(endpoint="objective", patient_id=[f"PT-{i}" for i in range(n)])
    first = shared.assign(
        spell=1,
        start_day=0,
        left_days=0.0,
        right_days=5.0,
        last_test_days=before + 5.0,
        status="resolved",
    )
    back = np.isfinite(after)
    second = shared[back].assign(
        spell=2,
        start_day=(after[back] + 5).astype(int),
        left_days=0.0,
        right_days=np.inf,
        last_test_days=0.0,
        status="unresolved",
    )
    texts = dict.fromkeys(["variants", "side_signs", "criteria", "reasons_against"], "")
    verdicts = base.assign(
        **texts
        | {
            "positional": "yes",
            "side": "right",
            "arm": "long",
            "mechanism": "unknown",
            "certainty": "definite",
        },
        canal=np.where(np.arange(n) % 3 == 0, "lateral", "posterior"),
        **{
            "arm_basis": pd.NA,
            "known_day": 0,
            "recognised_day": pd.NA,
            "side_by": "plane",
            "reclassified_day": pd.NA,
        },
    )
    contacts = [
        {"site": s, "episode_id": e, "day": int(day) + 5, "recurrence_reported": answer}
        for s, e, last, seen in zip(base["site"], base["episode_id"], before, after, strict=True)
        for day, answer in ((last, "no"), (seen, "yes"))
        if 0 < day < np.inf
    ]
    spells = Spells.cast(pd.concat([first, second], ignore_index=True))
    return spells, Adjudications.cast(verdicts), build_table("followups", contacts)


def shares(
    estimates: pd.DataFrame, endpoint: str = "objective", stratum: str = "all"
) -> pd.DataFrame:
    return estimates[
        estimates["stratum"].eq(stratum) & estimates["endpoint"].eq(endpoint)
    ].set_index("term")


@pytest.mark.parametrize("endpoint", ["objective", "patient_reported"])
def test_planted_shares_come_back(plan, endpoint):
    estimates = shares(estimate_recurrence(*simulate(1500, seed=1), plan), endpoint)
    for day in plan.study.recurrence.days:
        row = estimates.loc[f"recurrence_free_upper_day_{day}"]
        truth = np.exp(-PER_DAY * (day - 14))
        assert row["std_error"] < 0.04
        assert abs(row["estimate"] - truth) < 4 * row["std_error"]
        both = estimates.loc[f"recurrence_free_day_{day}"]
        assert both["lower"] <= truth <= both["upper"]


def test_taking_the_day_of_the_visit_for_the_day_of_the_return_would_be_too_high(plan):
    """The share of whom a return was seen by day 90, among all: what counting visits would give."""
    spells, verdicts, contacts = simulate(1500, seed=2)
    row = shares(estimate_recurrence(spells, verdicts, contacts, plan)).loc[
        "recurrence_free_upper_day_90"
    ]
    seen = (spells["spell"].eq(2) & spells["start_day"].le(95)).sum() / spells["spell"].eq(1).sum()
    assert (1 - seen) - row["estimate"] > 4 * row["std_error"]


def test_least_and_most_are_told_where_they_differ(plan):
    """Visits come every ten days, so that only days between them can lie within an interval of no
    information."""
    days = plan.study.recurrence.model_copy(update={"days": (85, 90, 105, 110, 125, 130, 145)})
    with_days = plan.model_copy(
        update={"study": plan.study.model_copy(update={"recurrence": days})}
    )
    estimates = shares(estimate_recurrence(*simulate(400, seed=3), with_days))
    differing = set()
    for day in days.days:
        lower, upper, both = (
            estimates.loc[f"recurrence_free_{end}day_{day}"] for end in ("lower_", "upper_", "")
        )
        assert both["estimate"] == lower["estimate"]
        assert (both["lower"], both["upper"]) == (lower["lower"], upper["upper"])
        differs = upper["estimate"] - lower["estimate"] > 0.005
        assert pd.notna(both["note"]) == differs
        differing |= {day} if differs else set()
    assert differing
    assert all(day % 10 for day in differing)


def test_counts_at_risk_fall_and_the_events_of_a_day_are_those_known_by_it(plan):
    spells, verdicts, contacts = simulate(500, seed=4)
    estimates = shares(estimate_recurrence(spells, verdicts, contacts, plan))
    at_risk = [
        estimates.loc[f"at_risk_day_{day}", "estimate"] for day in (0, *plan.study.recurrence.days)
    ]
    assert at_risk == sorted(at_risk, reverse=True)
    second = spells[spells["spell"].eq(2)]
    for day in plan.study.recurrence.days:
        assert (
            estimates.loc[f"recurrence_free_day_{day}", "n_events"]
            == second["start_day"].le(day + 5).sum()
        )


def test_same_input_same_numbers_whatever_the_order(plan):
    tables = simulate(300, seed=5)
    shuffled = [rows.sample(frac=1, random_state=k) for k, rows in enumerate(tables)]
    pd.testing.assert_frame_equal(
        estimate_recurrence(*tables, plan), estimate_recurrence(*shuffled, plan)
    )


@pytest.mark.parametrize(("n", "status"), [(8, "too_few"), (400, "ok")])
def test_few_episodes_give_a_status_and_no_number(plan, n, status):
    row = shares(estimate_recurrence(*simulate(n, seed=6), plan)).loc["recurrence_free_day_90"]
    assert row["status"] == status
    assert pd.isna(row["estimate"]) == (status != "ok")


def test_nobody_returned_is_an_answer(plan):
    spells, verdicts, contacts = simulate(200, seed=7)
    never = estimate_recurrence(spells[spells["spell"].eq(1)], verdicts, contacts.iloc[:0], plan)
    row = shares(never).loc["recurrence_free_day_30"]
    assert (row["status"], row["estimate"], row["upper"]) == ("ok", 1, 1)
    assert 0.8 < row["lower"] < 1


def test_canals_and_other_verdicts(plan):
    spells, verdicts, contacts = simulate(600, seed=8)
    estimates = estimate_recurrence(spells, verdicts, contacts, plan)
    counts = estimates[
        estimates["term"].eq("recurrence_free_day_90") & estimates["endpoint"].eq("objective")
    ].set_index("stratum")
    assert (
        counts.loc[["canal=lateral", "canal=posterior"], "n_episodes"].sum()
        == counts.loc["all", "n_episodes"]
    )
    apart = Adjudications.cast(verdicts.assign(positional=["yes"] * 400 + ["undetermined"] * 200))
    kept = verdicts["episode_id"][:400]
    tables = [rows[rows["episode_id"].isin(kept)] for rows in (spells, verdicts, contacts)]
    pd.testing.assert_frame_equal(
        estimate_recurrence(spells, apart, contacts, plan), estimate_recurrence(*tables, plan)
    )
