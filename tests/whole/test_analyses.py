"""Every analysis of the plan on the demonstration pool: whole tables, statuses with reasons,
and numbers that agree with one another."""

import pandas as pd
import pytest

from pipeline.analyses.plan import ANALYSES
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
    with_limits = rows[rows[["estimate", "lower", "upper"]].notna().all(axis=1)]
    assert (with_limits["lower"] <= with_limits["estimate"] + 1e-9).all()
    assert (with_limits["estimate"] <= with_limits["upper"] + 1e-9).all()
    assert (rows["n_events"].dropna() >= 0).all()


def test_the_primary_answers_of_the_sensitivity_runs_are_those_of_the_curves_and_the_second_line(
    unreleased, plan
):
    curves = unreleased["resolution_curves"]
    whole = curves[curves["endpoint"].eq("objective") & curves["stratum"].eq("all")].set_index(
        "term"
    )["estimate"]
    varied = unreleased["sensitivity"]
    primary = varied[varied["stratum"].eq("variation=primary")].set_index("term")["estimate"]
    term = f"risk_difference_day_{plan.study.second_line.primary_day}"
    line = unreleased["second_line"]
    assert primary[term] == line[line["stratum"].eq("all")].set_index("term")["estimate"][term]
    primary = primary.drop(term)
    assert len(primary) >= 4
    pd.testing.assert_series_equal(primary, whole[primary.index])


SHARE = (
    r"(?:resolved_by|unresolved_upper|unresolved_lower|recurrence_free|incidence_\w+|seen_\w+|"
    r"event_free|nothing_seen|risk_repeat|risk_change)_day_\d+"
)
COURSES = {  # shares by day, and whether they rise
    "resolution_curves": {
        "resolved_by_day": True,
        "unresolved_upper_day": False,
        "unresolved_lower_day": False,
    },
    "recurrence": {"recurrence_free_day": False},
    "competing_events": {
        "event_free_day": False,
        "nothing_seen_day": False,
        "incidence_resolved_day": True,
    },
}


@pytest.mark.parametrize("name", ANALYSES)
def test_shares_and_their_differences_stay_on_their_scales_and_are_told_only_where_they_tell_something(  # noqa: E501 (the name says what is tested)
    unreleased, plan, name
):
    rows = unreleased[name].astype({"lower": float, "upper": float})
    widest = plan.study.guards.widest_range_points / 100 + 1e-9
    for pattern, least in ((SHARE, 0), (r"(?:naive_|at_once_)?risk_difference_day_\d+", -1)):
        shares = rows[
            rows["term"].str.fullmatch(pattern) & rows["lower"].notna() & rows["upper"].notna()
        ]
        assert shares["lower"].ge(least).all()
        assert shares["upper"].le(1).all()
        assert (shares["upper"] - shares["lower"]).le(widest).all()


@pytest.mark.parametrize("name", COURSES)
def test_limits_of_a_share_that_only_rises_or_falls_do_so_too(unreleased, name):
    rows = unreleased[name]
    days = rows["term"].str.extract(r"(?P<stem>\w+_day)_(?P<day>\d+)$").astype({"day": float})
    rows = rows.assign(**days, endpoint=rows["endpoint"].fillna(""))[
        days["stem"].isin(COURSES[name])
    ]
    rows = rows[rows["lower"].notna()].sort_values("day")
    assert len(rows)
    for (stem, *_), course in rows.groupby(["stem", "endpoint", "stratum"]):
        for column in ("estimate", "lower", "upper"):
            steps = course[column].to_numpy(float)
            steps = steps[1:] - steps[:-1] if COURSES[name][stem] else steps[:-1] - steps[1:]
            assert (steps >= -1e-9).all(), (stem, column)
