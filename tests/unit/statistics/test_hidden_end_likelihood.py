"""The fit of a hidden end against its likelihood counted out over all days of the end."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from pipeline.statistics.npmle_search import NotConverged
from tests.published.hidden_end_cases import (
    NOTHING,
    UNKNOWN,
    begin,
    count_out,
    fit_hidden_end,
    gather,
    lean,
    list_interior,
    move,
    repeat,
    settle,
    spread_starts,
    stay,
)

STEP = 0.01  # of a logarithm or log-odds
NEAR = 0.02  # standard errors from the maximum, one parameter at a time


@st.composite
def small_courses(draw):
    """A few people on a few days, whatever may be seen of them."""
    shape = draw(st.integers(1, 4)), draw(st.integers(1, 4))

    def number(least: int, most: int) -> np.ndarray:
        return draw(arrays.arrays(np.int64, shape, elements=st.integers(least, most)))

    watched = number(0, 1).astype(bool)
    belief = (
        draw(st.sampled_from([1.0, 20.0, 200.0])),
        draw(st.floats(0.01, 0.4)),
        draw(st.floats(0.6, 0.99)),
    )
    return gather(
        number(NOTHING, 1),
        belief,
        part=number(0, 1),
        done=number(0, 2),
        habit=number(0, 1),
        watched=watched,
        looked=watched & number(0, 1).astype(bool),
        said=number(NOTHING, 1),
    )


def draw_courses(seed: int, belief=(20.0, 0.1, 0.9), only_results: bool = False):
    """Courses with all that the model has: two natural rates, two kinds of treatment, two habits,
    days without observation, visits that the state brings about, misread visits and reports; or
    with what visits showed as all that was seen."""
    people, days = 40, 7
    rng = np.random.default_rng(seed)
    shape = people, days
    part = np.broadcast_to((np.arange(days) >= 3).astype(int), shape)
    done, habit = rng.choice(3, shape, p=[0.7, 0.15, 0.15]), rng.integers(0, 2, shape)
    rate = np.array([0.05, 0.1])[part] + np.array([0, 0.4, 0.8])[done]
    ends = rng.random(shape) < -np.expm1(-rate)
    end = np.where(ends.any(axis=1), ends.argmax(axis=1) + 1, days + 1)
    lasts = (np.arange(1, days + 1) < end[:, None]).astype(int)
    rate = np.array([0.1, 0.6])[habit] + np.array([0.1, 0.5])[lasts]
    watched = rng.random(shape) < 0.9
    looked = watched & (rng.random(shape) < -np.expm1(-rate))
    positive = rng.random(shape) < np.array([0.1, 0.9])[lasts]
    asked, yes = rng.random(shape) < 0.2, rng.random(shape) < np.array([0.2, 0.8])[lasts]
    shown = np.where(looked, positive, NOTHING).astype(int)
    if only_results:
        return gather(shown, belief, part=part, done=done)
    said = np.where(asked, yes, NOTHING).astype(int)
    return gather(
        shown,
        belief,
        part=part,
        done=done,
        habit=habit,
        watched=watched,
        looked=looked,
        said=said,
    )


@settings(max_examples=60)
@given(small_courses())
def test_what_is_maximised_is_the_sum_over_all_days_of_the_end(courses):
    try:
        fit = fit_hidden_end(courses)
    except NotConverged:
        reject()
    expected = count_out(courses, fit.rates) + lean(courses, fit.rates)
    assert fit.value == pytest.approx(expected, rel=1e-10, abs=1e-9)


@pytest.mark.parametrize("copies", [1, 8])
@pytest.mark.parametrize("seed", range(4))
def test_the_slope_of_the_likelihood_counted_out_is_none_at_the_fit(seed, copies):
    """Of each parameter within its range, by finite differences, against the curvature; and with
    each person more than once."""
    courses = draw_courses(seed)
    several = repeat(courses, copies)
    rates = settle(several).rates

    def value(moved) -> float:
        return copies * count_out(courses, moved) + lean(several, moved)

    here, interior = value(rates), list_interior(rates)
    assert len(interior) >= 9
    for name, place in interior:
        below, above = (value(move(rates, name, place, step)) for step in (-STEP, STEP))
        slope, curvature = (above - below) / (2 * STEP), (2 * here - above - below) / STEP**2
        assert curvature > 0
        assert abs(slope) / math.sqrt(curvature) < NEAR, name


@pytest.mark.parametrize("seed", range(3))
def test_people_counted_more_than_once_leave_a_fit_without_priors_as_it_is(seed):
    courses = draw_courses(seed, UNKNOWN, only_results=True)
    once, often = (settle(repeat(courses, copies)).rates for copies in (1, 8))
    for name in ("natural", "jump", "showing"):
        np.testing.assert_allclose(getattr(often, name), getattr(once, name), rtol=0, atol=2e-5)


def test_the_pull_of_priors_falls_as_people_are_counted_more_often():
    courses = draw_courses(1)
    courses = replace(courses, prior=replace(courses.prior, appointments=np.inf))
    start = stay(begin(courses))  # who may leave without a word makes what is known of tests little
    once, often, always = (settle(repeat(courses, n), start).rates for n in (1, 8, 64))
    for name in ("showing", "telling"):
        # as 1/copies: 1 - 1/8 against 1/8 - 1/64, eight times as much
        first, second = (
            np.abs(getattr(before, name) - getattr(after, name)).max()
            for before, after in ((once, often), (often, always))
        )
        assert first > 1e-3
        assert 2 < first / second < 16, name


def test_wherever_a_search_begins_it_ends_at_the_same_ends_and_the_same_difference_of_visits():
    """Rates of visits are sums, of which only how much more often people come in the state is
    known: neither of the two chosen rates by itself."""
    courses = draw_courses(3)
    rates = [fit_hidden_end(courses, start).rates for start in spread_starts(courses)]
    for name in ("natural", "jump", "showing", "telling"):
        spread = np.ptp([getattr(each, name) for each in rates], axis=0)
        assert spread.max() < 2e-3, name
    assert np.ptp([each.chosen[1] - each.chosen[0] for each in rates]) < 2e-3
    visits = [each.planned + each.chosen[0] for each in rates]
    assert np.ptp(visits, axis=0).max() < 2e-3
