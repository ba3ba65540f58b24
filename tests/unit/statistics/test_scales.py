"""Limits stay on their scale."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.scales import DIFFERENCE
from pipeline.statistics.two_shares import Bounded, compare, mover_difference


@given(st.lists(st.floats(0, 1), min_size=6, max_size=6))
def test_limits_of_a_difference_stay_within_its_scale_and_agree_with_their_p_value(drawn):
    first, second = (Bounded(*np.array(sorted(part))[[1, 0, 2]]) for part in (drawn[:3], drawn[3:]))
    difference = mover_difference(first, second)
    assert -1 - 1e-12 <= difference.low <= difference.value <= difference.high <= 1 + 1e-12
    *_, low, high, p = compare(np.full(5, difference.value), DIFFERENCE, first, second)
    away = min(abs(low), abs(high)) > 1e-9  # where a limit lies at 0, rounding decides
    assert not away or (p < 0.05) == (not low <= 0 <= high)
