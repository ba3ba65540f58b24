"""Short arms that were named by a response are counted and refused, and no others."""

import pandas as pd
import pytest

from pipeline.analyses.resolution.short_arm import STRATUM, refuse_circular_arms
from pipeline.statistics.tidy import tidy_estimates

SHORT = {"recorded_arm": "short", "arm_basis": "treatment_response"}


def test_only_arms_named_by_response_are_counted(table):
    others = [
        SHORT | {"arm_basis": basis}
        for basis in ("sitting_up", "half_dix_hallpike", "not_assessed", pd.NA)
    ]
    others += [SHORT | {"recorded_arm": arm} for arm in ("long", "unknown", "not_applicable")]
    rows = [SHORT, SHORT | {"site": "S02"}, SHORT | {"site": "S02"}, *others]
    episodes = table("episodes", [row | {"episode_id": f"EP-{n}"} for n, row in enumerate(rows)])
    (row,) = refuse_circular_arms(episodes)
    assert (row["n_episodes"], row["n_sites"], row["n_events"], row["status"]) == (
        3,
        2,
        None,
        "not_identified",
    )
    shared = {"analysis": "resolution_curves", "population": "positional", "method": "none"}
    estimates = tidy_estimates([row], **shared)
    assert estimates["stratum"].tolist() == [STRATUM]
    assert estimates["estimate"].isna().all()


@pytest.mark.parametrize("rows", [[], [{}], [SHORT | {"arm_basis": "sitting_up"}]])
def test_no_such_arm_no_row(table, rows):
    assert refuse_circular_arms(table("episodes", rows)) == []
