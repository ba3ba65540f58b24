"""Estimates as a page reads them."""

import numpy as np

from pipeline.reports.committee.curves import read_curve
from pipeline.reports.readings import Reading, Readings


def test_a_number_with_a_status_is_not_used():
    assert Reading(0.4, status="ok").usable
    assert not Reading(0.4, status="too_few").usable
    assert not Reading(None, status="ok").usable
    too_few = {
        ("all", f"unresolved_{bound}_day_1"): Reading(0.4, 0.3, 0.5, status="too_few")
        for bound in ("upper", "lower")
    }
    curve = read_curve(Readings("resolution_curves", too_few), "all", 2)
    assert np.isnan([curve.least, curve.most, curve.low, curve.high]).all()
