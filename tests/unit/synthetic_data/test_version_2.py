"""What version 2 of the dictionary adds to the invented records is true to what was planted, and
leaves all else as it is."""

from dataclasses import replace

import pandas as pd
import pytest

from synthetic_data.planning import LATE_DAY
from synthetic_data.pool import read_plan
from synthetic_data.scenario import Scenario
from synthetic_data.sites import TEN
from synthetic_data.tables import simulate_site
from synthetic_data.write import plan_of

EPISODE_DAY = ["site", "episode_id", "day"]
NEWER = [site.code for site in TEN if site.version == 2]


@pytest.fixture(scope="module")
def days(simulated) -> pd.DataFrame:
    """One row for each day of tests at sites of version 2."""
    tests = simulated.tables["examinations"]
    tests = tests[tests["site"].isin(NEWER)]
    days = tests[[*EPISODE_DAY, "reason"]].drop_duplicates()
    assert not days.duplicated(EPISODE_DAY).any()
    return days.sort_values(EPISODE_DAY).reset_index(drop=True)


def test_who_comes_for_the_first_time_has_symptoms(days):
    first = days.drop_duplicates(["site", "episode_id"])
    assert set(first["reason"].dropna()) == {"symptoms", "unknown"}


def test_only_who_still_feels_ill_comes_early(simulated, days):
    later = days[days["day"] > 0].merge(simulated.truth, on=["site", "episode_id"])
    brought = later[later["reason"].eq("symptoms")]
    planned = later[later["reason"].eq("planned")]
    assert min(len(brought), len(planned)) > 100
    assert (brought["day"] < LATE_DAY + 30).all()
    assert brought["day"].median() < planned["day"].median()
    ill = brought["resolution_day"].gt(0) | brought["recurrence_day"].lt(brought["day"])
    assert ill.all()


def test_most_reasons_are_told_at_sites_of_version_2_and_none_at_others(simulated, days):
    assert days["reason"].isna().mean() == pytest.approx(0.06, abs=0.01)
    assert days["reason"].eq("unknown").mean() == pytest.approx(0.02, abs=0.01)
    tests = simulated.tables["examinations"]
    assert tests.loc[~tests["site"].isin(NEWER), "reason"].isna().all()


@pytest.mark.parametrize("site", [site for site in TEN if site.call_day], ids=lambda s: s.code)
def test_calls_are_added_and_nothing_else_moves(site):
    maneuvers = read_plan().maneuvers
    plain = replace(site, version=1, call_day=None)
    newer, older = (simulate_site(5, Scenario(), s, 400, maneuvers) for s in (site, plain))
    pd.testing.assert_frame_equal(newer.truth, older.truth)
    for name, rows in older.tables.items():
        kept = newer.tables[name]
        if name == "examinations":
            kept, rows = kept.drop(columns="reason"), rows.drop(columns="reason")
        if name == "followups":
            key = ["episode_id", "day", "contact"]
            added = ~pd.MultiIndex.from_frame(kept[key]).isin(pd.MultiIndex.from_frame(rows[key]))
            calls, kept = kept[added], kept[~added].reset_index(drop=True)
            assert set(calls["day"]) == {site.call_day}
            assert 0.6 * 400 < len(calls) < 0.9 * 400
        pd.testing.assert_frame_equal(kept, rows)


def test_a_plan_is_told_as_the_version_asks():
    plans = {site.code: plan_of(site) for site in TEN}
    assert plans["S02"] == {"usual_confirmation_day": 1}
    assert plans["S04"] == {"planned_test_days": 30, "planned_call_days": 3}
    assert plans["S05"] == {"planned_test_days": "7; 37", "planned_call_days": None}
