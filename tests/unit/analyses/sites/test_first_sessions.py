"""First sessions of sites: shares, case mix, and the model of one stage."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from pipeline.analyses.sites.first_sessions import (
    state_first_sessions,
)


def first_sessions(sizes: list[tuple[int, int]]) -> pd.DataFrame:
    """First sessions of sites S01, S02, ... with so many sessions, of which so many succeeded;
    all patients are alike."""
    rows = [
        (f"S{s:02d}", f"EP-{s}-{i}", i < events)
        for s, (n, events) in enumerate(sizes, 1)
        for i in range(n)
    ]
    sessions = pd.DataFrame(rows, columns=["site", "episode_id", "happened"])
    alike = {
        "canal_arm": "posterior long",
        "mechanism": "canalolithiasis",
        "onset": "0-7 days",
        "prior": "none",
    }
    return sessions.assign(patient_id=sessions["episode_id"], gap=7.0, age_decade=6, **alike)


def pool_first_sessions(sizes: list[tuple[int, int]], plan) -> pd.DataFrame:
    stated = state_first_sessions(
        first_sessions(sizes), plan.study.site_monitoring.terms, plan.study.guards
    )
    return pd.DataFrame(list(stated))


def tell_one_stage(sizes: list[tuple[int, int]], plan) -> pd.Series:
    stated = pool_first_sessions(sizes, plan).set_index("term")
    return stated.loc["first_session_success_one_stage"]


def test_the_one_stage_model_needs_enough_sessions(plan):
    assert tell_one_stage([(3, 1), (3, 2), (3, 1)], plan)["status"] == "too_few"


@pytest.mark.parametrize("sizes", [[(30, 2), (30, 1), (40, 1)], [(40, 40), (40, 40), (40, 38)]])
def test_the_one_stage_model_tells_of_few_outcomes_of_a_kind(plan, sizes):
    row, (total, events) = tell_one_stage(sizes, plan), np.sum(sizes, axis=0)
    assert row["estimate"] == pytest.approx(events / total, abs=0.01)
    exact = binomtest(int(events), int(total)).proportion_ci(method="exact")
    assert row["lower"] < exact.low + 0.01
    assert row["upper"] > exact.high - 0.01


@pytest.mark.parametrize("share", [0, 1])
def test_sessions_of_one_outcome_have_a_share_with_limits(plan, share):
    row = tell_one_stage([(40, 40 * share)] * 5, plan)
    assert (row["status"], row["estimate"]) == ("ok", share)
    assert 0.02 < row["upper"] - row["lower"] < 0.1
