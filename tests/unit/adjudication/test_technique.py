"""Deviations from how maneuvers are usually done, at, inside and outside of their ranges."""

import numpy as np
import pandas as pd
import pytest

from pipeline.adjudication.technique import measure_deviations
from tests.unit.conftest import build_table


@pytest.fixture
def measure(plan):
    """A function from attempts of one day to its deviations (hold, head_turn, head_hang)."""

    def measure_day(*attempts) -> list[float]:
        rows = [a | {"attempt": n} for n, a in enumerate(attempts, start=1)]
        off = measure_deviations(build_table("treatments", rows), plan.maneuvers)
        assert len(off) == 1
        return off.loc[0, ["hold", "head_turn", "head_hang"]].astype(float).tolist()

    return measure_day


EPLEY = {"maneuver": "epley", "hold_s": 20, "head_turn_deg": 45, "head_hang_deg": 20}


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({}, (0, 0, 0)),
        ({"hold_s": 60}, (0, 0, 0)),
        ({"hold_s": 600}, (0, 0, 0)),  # longer than usual is no shortfall
        ({"hold_s": 10}, (1, 0, 0)),
        ({"hold_s": 5}, (2, 0, 0)),
        ({"hold_s": 0}, (np.log2(20), 0, 0)),
        ({"head_turn_deg": 30}, (0, 15, 0)),
        ({"head_turn_deg": 60}, (0, 15, 0)),
        ({"head_hang_deg": 30}, (0, 0, 0)),
        ({"head_hang_deg": 35}, (0, 0, 5)),
        ({"head_hang_deg": 0}, (0, 0, 20)),
        ({"maneuver": "semont_plus", "head_hang_deg": 90}, (np.nan, 0, 0)),
        ({"maneuver": "bow_and_yaw"}, (np.nan, np.nan, np.nan)),
        ({"maneuver": "observe"}, (np.nan, np.nan, np.nan)),
        ({"hold_s": pd.NA, "head_turn_deg": pd.NA}, (np.nan, np.nan, 0)),
    ],
)
def test_each_maneuver_has_its_own_usual_ranges(measure, change, expected):
    assert measure(EPLEY | change) == pytest.approx(expected, nan_ok=True)


def test_of_several_attempts_the_nearest_counts(measure):
    assert measure(EPLEY | {"hold_s": 5}, EPLEY | {"hold_s": 15, "head_turn_deg": 60}) == (
        pytest.approx([np.log2(20 / 15), 0, 0])
    )
    assert measure(EPLEY | {"hold_s": 5}, {"maneuver": "bow_and_yaw"})[0] == 2
