"""Every analysis of the plan on the demonstration pool: whole tables, statuses with reasons, and numbers that agree with one another."""

import pandas as pd
import pytest

from pipeline.analyses import ANALYSES
from schemas import codes
from schemas.estimate import Estimates


@pytest.fixture(scope="module")
def unreleased(pool_run):
    folder = pool_run[0] / "results" / "unreleased"
    return {name: Estimates.cast(pd.read_csv(folder / f"{name}.csv")) for name in ANALYSES}


@pytest.mark.parametrize("name", ANALYSES)
def test_an_analysis_gives_whole_rows(unreleased, name):
    rows = unreleased[name]
    Estimates.validate(rows, lazy=True)
    assert set(rows["analysis"]) == {name}
    assert not rows.duplicated(Estimates.key()).any()
    assert rows["status"].eq("ok").any()
    assert set(rows["status"]) <= set(codes.ESTIMATE_STATUS) - {"suppressed"}


@pytest.mark.parametrize("name", ANALYSES)
def test_estimates_lie_within_their_limits(unreleased, name):
    rows = unreleased[name]
    told = rows[rows[["estimate", "lower", "upper"]].notna().all(axis=1)]
    assert (told["lower"] <= told["estimate"] + 1e-9).all()
    assert (told["estimate"] <= told["upper"] + 1e-9).all()
    assert (rows["n_events"].dropna() >= 0).all()


def test_the_primary_answers_of_the_sensitivity_runs_are_those_of_the_curves_and_the_second_line(unreleased, plan):
    curves = unreleased["resolution_curves"]
    whole = curves[curves["endpoint"].eq("objective") & curves["stratum"].eq("all")].set_index("term")["estimate"]
    varied = unreleased["sensitivity"]
    primary = varied[varied["stratum"].eq("variation=primary")].set_index("term")["estimate"]
    term = f"risk_difference_day_{plan.study.second_line.primary_day}"
    line = unreleased["second_line"]
    assert primary[term] == line[line["stratum"].eq("all")].set_index("term")["estimate"][term]
    primary = primary.drop(term)
    assert len(primary) >= 4
    pd.testing.assert_series_equal(primary, whole[primary.index])
