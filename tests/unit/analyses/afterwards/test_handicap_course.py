"""The course of the handicap: knots, slopes, and planted means."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.afterwards.handicap import (
    describe_course,
)
from pipeline.analyses.afterwards.handicap_course import place_knots
from tests.unit.analyses.afterwards.test_handicap import by_term, simulate

MEANS = {0: 46.0, 7: 30.0, 30: 22.0, 90: 16.0}
DAYS = tuple(MEANS)


def test_knots_are_where_totals_of_enough_episodes_and_sites_are(plan):
    rows, guards = simulate(7, n=40, sites=4), plan.study.guards
    whole = list(np.log1p(DAYS))
    assert place_knots(rows, list(DAYS), guards) == pytest.approx(whole)
    between = rows[rows["day"].eq(0)].assign(day=2)
    assert place_knots(pd.concat([rows, between]), list(DAYS), guards) == pytest.approx(
        [0, np.log1p(7) / 2, *whole[1:]]
    )
    for few in (
        between.head(guards.min_episodes - 1),
        between[between["site"].isin(["S00", "S01"])],
    ):
        assert place_knots(pd.concat([rows, few]), list(DAYS), guards) == pytest.approx(whole)


def test_slopes_that_do_not_vary_are_left_out_with_the_reason(plan):
    estimates = [
        by_term(describe_course(simulate(seed, n=120, sites=3, slope_sd=0.0), plan.study))
        for seed in range(4)
    ]
    notes = [rows.loc["mean_day_7", "note"] for rows in estimates]
    left_out = [rows for rows, note in zip(estimates, notes, strict=True) if not pd.isna(note)]
    assert left_out
    assert "slopes" not in left_out[0].loc["mean_day_7", "method"]
    assert "slopes" in left_out[0].loc["mean_day_7", "note"]
