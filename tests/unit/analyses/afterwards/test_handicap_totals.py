"""Which total is that of a day, and what is counted of totals."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.afterwards.handicap_totals import (
    find_horizon,
    find_nearest_day,
    pick_nearest,
    select_totals,
)
from tests.unit.analyses.afterwards.test_handicap import build


@pytest.mark.parametrize(
    ("day", "plan_day"),
    [(0, 0), (1, np.nan), (2, 7), (7, 7), (14, 7), (15, 30), (51, 30), (53, 90), (400, 90)],
)
def test_each_day_is_near_the_nearest_by_log_time(day, plan_day):
    np.testing.assert_equal(find_nearest_day(np.array([float(day)]), (7, 30, 90))[0], plan_day)


def test_the_horizon_is_half_a_step_after_the_last_day():
    assert find_horizon((7, 30, 90)) == pytest.approx(91 * np.sqrt(91 / 31) - 1)


def test_the_last_total_on_or_before_day_0_is_that_of_day_0(plan, table):
    contacts = [(-40, 60), (-2, 50), (1, 44), (1, 40), (9, 20), (300, 8)]
    given = [
        {
            "episode_id": "EP-1",
            "day": day,
            "dhi_total": total,
            "contact": ["clinic", "diary"][k % 2],
        }
        for k, (day, total) in enumerate(contacts)
    ]
    totals = select_totals(*build(given, {"EP-1": 9.0}, table), plan.study)
    assert totals["day"].tolist() == [0, 1, 9]
    assert totals["total"].tolist() == [50, 42, 20]
    assert totals["seen"].tolist() == [False, False, True]


def test_of_several_totals_near_a_day_the_nearest_counts_and_of_equals_the_later(plan):
    rows = pd.DataFrame(
        {
            "site": "S01",
            "episode_id": ["A", "A", "A", "B"],
            "day": [3, 8, 12, 5],
            "plan_day": 7.0,
            "total": [1, 2, 3, 4],
        }
    )
    assert pick_nearest(rows, 7)["total"].tolist() == [2, 4]
