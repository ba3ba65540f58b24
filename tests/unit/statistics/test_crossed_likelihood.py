"""Likelihood of crossed effects: it is the integral, and its slope that of differences."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import logsumexp

from pipeline.statistics.crossed_likelihood import count_rows, find_modes, slope_sds
from tests.unit.statistics.test_crossed import FIRST, SECOND, draw

EVENTS, MEMBERS = np.array([20.0, 31, 12, 30]), np.array([40.0, 50, 45, 60])


@cache
def integrate(sds: tuple[float, float]) -> float:
    """Log of the integral over mu and four effects of the rows FIRST x SECOND, by brute force: once
    mu and the two first effects are given, no row has both second ones, which are summed over
    apart."""
    z, w = np.polynomial.hermite_e.hermegauss(21)
    weight = np.log(w / w.sum())
    first = np.stack(np.meshgrid(z, z, indexing="ij"))[..., None]  # both effects, by both nodes
    mu, levels = np.linspace(-8, 8, 241), []
    for level in mu:
        heights = weight[:, None] + weight
        for second in (0, 1):
            seen = weight  # by the two first effects and this one
            for row in np.flatnonzero(second == SECOND):
                eta = level + sds[0] * first[FIRST[row]] + sds[1] * z
                seen = seen + EVENTS[row] * eta - MEMBERS[row] * np.logaddexp(0, eta)
            heights = heights + logsumexp(seen, axis=-1)
        levels.append(logsumexp(heights))
    return float(logsumexp(levels) + np.log(mu[1] - mu[0]))


@pytest.mark.parametrize("sds", [(0.3, 0.6), (0.8, 0.1)])
def test_the_likelihood_is_the_integral_over_all_effects(sds):
    counted = count_rows(EVENTS, MEMBERS, [FIRST, SECOND])
    value = find_modes(counted, np.array([sds])).value[0]
    assert value == pytest.approx(integrate(sds), abs=0.02)
    # differences between standard deviations, which alone matter, are nearer still
    apart = value - find_modes(counted, np.array([[0.3, 0.3]])).value[0]
    exact = integrate(sds) - integrate((0.3, 0.3))
    assert apart == pytest.approx(exact, abs=0.01)


@given(st.integers(0, 50), st.lists(st.floats(-2, 2), min_size=3, max_size=3))
def test_the_slope_is_that_of_the_likelihood(seed, sds):
    counted, point, step = draw(seed, (0.8, 0.1, 0.4)), np.array([sds]), 1e-3 * np.eye(3)
    slope = slope_sds(counted, point, find_modes(counted, point))[0]
    apart = find_modes(counted, point + step).value - find_modes(counted, point - step).value
    assert slope == pytest.approx(apart / 2e-3, abs=1e-3, rel=1e-4)


@given(st.integers(0, 50))
def test_weights_summed_over_pairs_of_columns_are_the_product_of_matrices(seed):
    counted = draw(seed, (0.8, 0.1, 0.4))
    weight = np.random.default_rng(seed).random((2, len(counted.events)))
    product = [(counted.belongs.T * row) @ counted.belongs for row in weight]
    np.testing.assert_allclose(counted.cross(weight), product, rtol=0, atol=1e-12)


@given(st.integers(0, 50))
def test_counted_together_or_one_by_one_rows_have_the_same_likelihood(seed):
    rng = np.random.default_rng(seed)
    members = rng.integers(1, 9, 6)
    events, factors = rng.binomial(members, 0.5), [rng.integers(0, 3, 6), rng.integers(0, 2, 6)]
    singly = [np.repeat(levels, members) for levels in factors]
    event = np.concatenate([np.arange(n) < k for n, k in zip(members, events, strict=True)])
    sds = np.array([[0.5, 0.9], [0.0, 1.4]])
    together = find_modes(count_rows(events, members, factors), sds).value
    alone = find_modes(count_rows(event, np.ones(len(event)), singly), sds).value
    assert together == pytest.approx(alone, abs=1e-9)


@given(st.permutations(range(6)), st.integers(0, 50))
def test_the_order_of_rows_and_the_names_of_levels_change_nothing(order, seed):
    rng = np.random.default_rng(seed)
    members = rng.integers(1, 9, 6)
    events, factors = rng.binomial(members, 0.5), [rng.integers(0, 3, 6), rng.integers(0, 2, 6)]
    sds = np.array([[0.5, 0.9]])
    value = find_modes(count_rows(events, members, factors), sds).value
    renamed = [np.array(["c", "a", "b"])[factors[0]][order], factors[1][order]]
    again = find_modes(count_rows(events[order], members[order], renamed), sds).value
    assert again == pytest.approx(value, abs=1e-9)


@given(st.integers(0, 50), st.floats(0, 3), st.floats(0, 3))
def test_events_and_the_rest_change_places(seed, one, other):
    rng = np.random.default_rng(seed)
    members = rng.integers(1, 9, 6)
    events, factors = rng.binomial(members, 0.5), [FIRST.repeat(2)[:6], SECOND.repeat(2)[:6]]
    if 0 < events.sum() < members.sum():
        sds = np.array([[one, other]])
        value = find_modes(count_rows(events, members, factors), sds).value
        turned = find_modes(count_rows(members - events, members, factors), sds).value
        assert turned == pytest.approx(value, abs=1e-7)
