"""What a guideline asks: what counts as recorded, of whom each measure is asked, and planted
shares."""

import numpy as np
import pandas as pd
import pytest

from pipeline.adjudication.findings import describe_tests
from pipeline.analyses.description.quality_measures import (
    MEASURES,
    REASSESSED,
    estimate_quality_measures,
    list_measures,
)
from schemas.delivery import TABLES
from tests.unit.conftest import build_table

SITES = ("S01", "S02", "S03", "S04", "S05")
RIGHT, LEFT = {"side": "right"}, {"side": "left"}
UP = {"vertical": "up", "torsion": "right", "vertigo": "moderate"}
ROLL, LYING = {"test": "supine_roll"}, {"test": "side_lying"}
KEY = {"episode_id": "EP-1"}


def gather(plan, verdict: str = "yes", **rows: list[dict]) -> dict:
    """The tables of episodes; what is not given of a table is empty."""
    tables = {name: build_table(name, rows.get(name, [])) for name in TABLES}
    if "episodes" not in rows:
        tables["episodes"] = build_table("episodes", [KEY])
    keys = tables["episodes"][["site", "episode_id"]]
    tested, treated = tables["examinations"], tables["treatments"]
    return tables | {
        "findings": describe_tests(tested, treated, plan.criteria),
        "adjudications": keys.assign(positional=verdict),
    }


def list_one(plan, **rows: list[dict]) -> pd.Series:
    """What is recorded of one episode."""
    return list_measures(**gather(plan, **rows), maneuvers=plan.maneuvers).iloc[0]


def test_both_sides_count_before_the_first_maneuver_alone(plan):
    first, later = {"examination": 1}, {"examination": 2, "after_attempt": 1}
    treated = [{"day": 0}]
    both = list_one(plan, examinations=[RIGHT | UP, LEFT], treatments=treated)
    assert both["dix_hallpike_both_sides"]
    assert not both["dix_hallpike_silent"]
    after = list_one(plan, examinations=[RIGHT | UP | first, LEFT | later], treatments=treated)
    assert not after["dix_hallpike_both_sides"]
    next_day = list_one(plan, examinations=[RIGHT | UP, LEFT | {"day": 1}])
    assert not next_day["dix_hallpike_both_sides"]  # nobody was treated, and day 0 is the first
    lying = list_one(plan, examinations=[RIGHT | LYING, LEFT], treatments=treated)
    assert lying["dix_hallpike_both_sides"]


def test_a_roll_test_is_asked_for_where_neither_side_shows_vertical_or_torsional_nystagmus(plan):
    flat = {"horizontal": "geotropic", "vertigo": "mild"}
    asked = list_one(plan, examinations=[RIGHT | flat, LEFT, RIGHT | ROLL, LEFT | ROLL])
    assert asked["dix_hallpike_silent"]
    assert asked["roll_both_sides"]
    one = list_one(plan, examinations=[RIGHT, LEFT, RIGHT | ROLL])
    assert one["dix_hallpike_silent"]
    assert not one["roll_both_sides"]
    single = list_one(plan, examinations=[RIGHT, RIGHT | ROLL, LEFT | ROLL])
    assert not single["dix_hallpike_silent"]


def test_a_maneuver_at_once_or_later_and_one_that_moves_nothing(plan):
    at_once = list_one(plan, examinations=[RIGHT], treatments=[{"day": 0}])
    assert at_once["treated_on_first_day"]
    later = list_one(plan, examinations=[RIGHT | {"day": -3}], treatments=[{"day": 0}])
    assert not later["treated_on_first_day"]
    watched = [{"day": 0, "maneuver": "observe", "side": "none"}, {"day": 9, "attempt": 2}]
    waited = list_one(
        plan,
        episodes=[KEY | {"onset_day": -5}],
        examinations=[RIGHT],
        treatments=watched,
    )
    assert waited["treated"]
    assert not waited["treated_on_first_day"]
    assert waited["wait"] == 14
    never = list_one(plan, examinations=[RIGHT])
    assert not never["treated"]
    assert not never["treated_on_first_day"]
    assert np.isnan(never["wait"])


@pytest.mark.parametrize(
    ("rows", "seen"),
    [
        ({"examinations": [RIGHT, RIGHT | {"day": 30}]}, True),
        ({"examinations": [RIGHT, RIGHT | {"day": 31}]}, False),
        ({"examinations": [RIGHT, RIGHT | {"examination": 2, "after_attempt": 1}]}, False),
        ({"followups": [{"day": 14, "contact": "telephone"}]}, True),
        ({"followups": [{"day": 14, "positional_symptoms": "unknown"}]}, False),
    ],
)
def test_seen_again_within_a_month_of_the_first_maneuver(rows, seen, plan):
    rows = {"examinations": [RIGHT]} | rows
    assert list_one(plan, treatments=[{"day": 0}], **rows)[REASSESSED] == seen


def test_only_positional_episodes_count(plan):
    rows = gather(plan, "probable_non_positional", examinations=[RIGHT])
    assert list_measures(**rows, maneuvers=plan.maneuvers).empty


def test_planted_shares_come_back(plan):
    """60 sites' patients of whom 48 are tested on both sides, 20 of these silent and 10 of them
    rolled; 54 of 57 treated at once; 45 seen again."""
    who = [{"site": SITES[n % 5], "episode_id": f"EP-{n}"} for n in range(60)]
    tested, treated, told = [], [], []
    for n, key in enumerate(who):
        day = {"day": -2 if n in (54, 55, 56) else 0}
        tested.append(key | RIGHT | day | (UP if n >= 20 else {}))
        tested += [key | LEFT | day] if n < 48 else []
        tested += [key | ROLL | side | day for side in (RIGHT, LEFT) if n < 10]
        treated += [key] if n < 57 else []
        told += [key] if n < 45 else []
    onset = [key | ({"onset_day": -n} if n % 2 else {}) for n, key in enumerate(who)]
    rows = gather(plan, episodes=onset, examinations=tested, treatments=treated, followups=told)
    found = estimate_quality_measures(**rows, config=plan).set_index("term")
    planted = {
        "dix_hallpike_both_sides": (48, 60),
        "roll_both_sides": (10, 20),
        "treated_on_first_day": (54, 60),
        REASSESSED: (45, 57),
    }
    for term, (events, episodes) in planted.items():
        row = found.loc[term]
        assert (row["n_events"], row["n_episodes"], row["n_sites"]) == (events, episodes, 5)
        assert row["estimate"] == pytest.approx(events / episodes)
        assert row["lower"] < row["estimate"] < row["upper"]
    assert found.loc["onset_to_maneuver_median", "estimate"] == 27  # of 1, 3, ... 55
    assert found.loc["onset_to_maneuver_median", "n_episodes"] == 28


def test_of_few_episodes_nothing_is_told(plan):
    rows = gather(plan, examinations=[RIGHT, LEFT], treatments=[{"day": 0}])
    found = estimate_quality_measures(**rows, config=plan)
    assert found["status"].eq("too_few").all()
    assert set(MEASURES) <= set(found["term"])
