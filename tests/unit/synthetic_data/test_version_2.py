"""What version 2 of the dictionary adds to the invented records is true to what was planted, and
leaves all else as it is."""

from dataclasses import replace

import pandas as pd
import pytest

from schemas.columns import SEPARATOR
from schemas.delivery import LONG_ATTACK_S, NEW, SIGNS, TABLES
from synthetic_data.planning import LATE_DAY
from synthetic_data.pool import read_plan
from synthetic_data.scenario import Scenario
from synthetic_data.sites import TEN
from synthetic_data.tables import simulate_site
from synthetic_data.version_2 import say_negative
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
        new = [column for column, d in TABLES[name].describe_kept().items() if d.versions == NEW]
        assert rows[new].isna().all(axis=None)
        kept, rows = newer.tables[name].drop(columns=new), rows.drop(columns=new)
        if name == "treatments":
            both = kept["adverse"].str.contains(SEPARATOR, regex=False)
            assert set(kept.loc[both, "adverse"]) <= {"nausea; neck_pain", "vomiting; neck_pain"}
            kept["adverse"] = kept["adverse"].str.split(SEPARATOR).str[0].astype("string")
        if name == "followups":
            key = ["episode_id", "day", "contact"]
            added = ~pd.MultiIndex.from_frame(kept[key]).isin(pd.MultiIndex.from_frame(rows[key]))
            calls, kept = kept[added], kept[~added].reset_index(drop=True)
            assert set(calls["day"]) == {site.call_day}
            assert 0.6 * 400 < len(calls) < 0.9 * 400
        pd.testing.assert_frame_equal(kept, rows)


def test_history_and_pressure_are_those_of_the_cause_more_often_than_not(simulated):
    episodes = simulated.tables["episodes"].merge(simulated.truth, on=["site", "episode_id"])
    episodes = episodes[episodes["site"].isin(NEWER)]
    positional = episodes["is_positional"].eq("yes")

    def share(column, rows):
        return episodes.loc[rows, column].dropna().eq("yes").mean()

    # of 113 proven cases 81 % said so: van Dam VS et al. Front Neurol 2021;11:625776
    assert share("provoked_by_lying_or_turning", positional) == pytest.approx(0.81, abs=0.06)
    assert share("provoked_by_lying_or_turning", ~positional) < 0.5
    for column, cause in (
        ("spontaneous_horizontal_nystagmus", "unilateral_vestibulopathy"),
        ("pressure_drop_on_standing", "orthostatic"),
    ):
        assert share(column, episodes["true_cause"].eq(cause)) > 0.5
        assert share(column, positional) < 0.2
    said = episodes.dropna(subset=["attack_s", "attacks_over_2min"])
    long = said["attack_s"].gt(LONG_ATTACK_S)
    assert not (long & said["attacks_over_2min"].eq("no")).any()
    assert not (~long & said["attacks_over_2min"].eq("yes")).any()


def test_one_cell_says_of_each_test_what_four_did(simulated):
    tests = simulated.tables["examinations"]
    cells = say_negative(tests)
    signs = list(SIGNS)
    nothing = tests[signs].eq("none").all(axis=1).astype(bool)
    assert cells["result"].eq("negative").tolist() == nothing.tolist()
    assert cells.loc[nothing, signs].isna().all(axis=None)
    assert (
        cells.loc[~nothing, signs].to_numpy().tolist()
        == tests.loc[~nothing, signs].to_numpy().tolist()
    )


def test_a_plan_is_told_as_the_version_asks():
    plans = {site.code: plan_of(site) for site in TEN}
    assert plans["S02"] == {"usual_confirmation_day": 1}
    assert plans["S04"] == {"planned_test_days": 30, "planned_call_days": 3}
    assert plans["S05"] == {"planned_test_days": "7; 37", "planned_call_days": None}
