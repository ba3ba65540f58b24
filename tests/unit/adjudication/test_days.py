"""Single days read by themselves, and rows that count until a case is reclassified."""

import pandas as pd
import pytest

from pipeline.adjudication.days import keep_until_reclassified, read_each_day
from pipeline.adjudication.findings import describe_tests

POSTERIOR = {"vertical": "up", "torsion": "right", "vertigo": "moderate", "duration_s": 20}


def test_each_day_means_what_it_would_mean_alone(table, plan):
    tests = table("examinations", [POSTERIOR, {"day": 5}, POSTERIOR | {"day": 9}])
    treatments = table("treatments", [{}])
    findings = describe_tests(tests, treatments, plan.criteria)
    days = read_each_day(tests, findings, plan.criteria).set_index("day")
    assert sorted(days.index) == [0, 9]  # nothing is met on day 5
    assert set(days["episode_id"]) == {"EP-1"}
    assert days.loc[0, ["canal", "side"]].tolist() == ["posterior", "right"]
    assert days.loc[9, "variants"] == days.loc[0, "variants"]


@pytest.mark.parametrize(
    ("until", "kept"), [(pd.NA, [0, 5, 9]), (5, [0]), (0, []), (10, [0, 5, 9])]
)
def test_rows_count_until_the_day_of_reclassification(until, kept):
    key = {"site": "S01", "episode_id": "EP-1"}
    rows = pd.DataFrame([key | {"day": day} for day in (0, 5, 9)]).astype({"day": "Int64"})
    verdicts = pd.DataFrame([key | {"reclassified_day": until}]).astype(
        {"reclassified_day": "Int64"}
    )
    assert keep_until_reclassified(rows, verdicts)["day"].tolist() == kept


def test_an_episode_without_a_verdict_is_kept():
    rows = pd.DataFrame({"site": ["S01"], "episode_id": ["EP-1"], "day": [3]})
    verdicts = pd.DataFrame({"site": ["S02"], "episode_id": ["EP-1"], "reclassified_day": [1]})
    assert len(keep_until_reclassified(rows, verdicts.astype({"reclassified_day": "Int64"}))) == 1
