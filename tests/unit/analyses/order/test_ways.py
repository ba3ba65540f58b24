"""A session right after the test that showed a failure: what each way to compare makes of it,
where the truth is known."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.order.propensity import Contrast, Weights, leave_out_sites
from pipeline.analyses.order.ways import fit_arms, list_ways, say_late

SITES, EACH = 4, 60  # episodes of each arm at each site
FIRST = {"repeat": 30, "change": 40}  # of these the second session helps at once


def build(third_day: float | None) -> Contrast:
    """Everybody is tested on day 6 and on day 13 after the second session, then never again.

    On day 6 those still ill are treated again and half of them are well at once (`third_day` 6), or
    nobody is treated again but half recover between the tests (None).
    """
    rows = []
    for site in range(SITES):
        for choice, helped in FIRST.items():
            half = (EACH - helped) // 2
            rows += [(f"S{site}", choice, 0.0, 6.0, 0.0)] * helped
            rows += [
                (f"S{site}", choice, 6.0, 13.0, np.nan if third_day is None else third_day)
            ] * half
            rows += [(f"S{site}", choice, 13.0, np.inf, np.nan)] * (EACH - helped - half)
    frame = pd.DataFrame(
        rows, columns=["site", "choice", "left_days", "right_days", "treated_days"]
    )
    weights = leave_out_sites(frame["site"]).astype(float)
    changed = frame["choice"].eq("change").to_numpy()
    return Contrast(frame, changed, weights, Weights(weights[0], 0.0, 1.0), 0)


def shares(contrast: Contrast, prefix: str, day: int) -> list[float]:
    way = next(way for way in list_ways(contrast) if way.prefix == prefix)
    return [float(arm.risk(day)[0]) for arm in fit_arms(contrast, way, 14)]


def test_just_after_a_session_shares_are_too_low_unless_it_is_taken_to_act_at_once():
    contrast = build(6.0)
    truth = [30 / 60 + 15 / 60, 40 / 60 + 10 / 60]  # by day 7: who was helped on day 0 or on day 6
    assert shares(contrast, "at_once_", 7) == pytest.approx(truth, abs=1e-6)
    # a seventh of those between day 6 and 13
    spread = [30 / 60 + 15 / 60 / 7, 40 / 60 + 10 / 60 / 7]
    assert shares(contrast, "", 7) == pytest.approx(spread, abs=1e-6)
    assert spread[1] - spread[0] > truth[1] - truth[0] + 0.05
    for prefix in ("", "at_once_"):
        assert shares(contrast, prefix, 6) == pytest.approx([30 / 60, 40 / 60], abs=1e-6)
        assert shares(contrast, prefix, 13) == pytest.approx(truth, abs=1e-6)


def test_where_nobody_is_treated_again_only_the_second_session_can_act_at_once():
    contrast = build(None)
    for day in (6, 7, 13):
        assert shares(contrast, "at_once_", day) == pytest.approx(
            shares(contrast, "", day), abs=1e-6
        )
    assert shares(contrast, "at_once_", 1) == pytest.approx([30 / 60, 40 / 60], abs=1e-6)


def test_the_rows_that_a_further_session_moves_say_so():
    assert "day 7" in say_late(build(6.0), 7)
    assert say_late(build(6.0), 6) is None  # nobody had a further session before it
    assert say_late(build(6.0), 13) is None  # by then all were tested
    assert say_late(build(None), 7) is None


def test_what_is_taken_of_a_day_is_not_counted_as_known():
    contrast = build(6.0)
    way = next(way for way in list_ways(contrast) if way.prefix == "at_once_")
    assert [arm.count(7) for arm in fit_arms(contrast, way, 14)] == [(120, 60), (160, 40)]
