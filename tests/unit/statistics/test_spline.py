"""Natural cubic splines: straight outside of the knots, smooth at them, and as other programs
build them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline

from pipeline.statistics.spline import bend

KNOTS = (0.0, 0.5, 1.5)


def test_columns_are_those_of_a_natural_spline_of_scipy():
    x = np.linspace(0, 1.5, 40)
    natural = CubicSpline(KNOTS, np.eye(3), bc_type="natural")(x)
    basis = np.column_stack([np.ones(len(x)), bend(x, KNOTS)])
    part = np.linalg.lstsq(natural, basis, rcond=None)[0]
    assert natural @ part == pytest.approx(basis, abs=1e-12)


def test_it_is_none_at_the_first_knot_of_0_and_straight_beyond_the_ends():
    assert bend(np.zeros(1), KNOTS).tolist() == [[0.0, 0.0]]
    left, right = bend(np.array([-3.0, -2, -1]), KNOTS), bend(np.array([2.0, 3, 4]), KNOTS)
    for part in (left, right):
        assert np.diff(part, n=2, axis=0) == pytest.approx(0, abs=1e-9)


@given(st.floats(-5, 5), st.sampled_from([KNOTS, (0, 10, 20), (-1, 0, 2, 3)]))
def test_value_and_slope_have_no_step(x, knots):
    step = 1e-6
    near = bend(np.array([x - step, x, x + step]), knots)
    assert np.abs(np.diff(near, axis=0)).max() < 1e-4
    assert np.abs(np.diff(near, n=2, axis=0)).max() < 1e-9
