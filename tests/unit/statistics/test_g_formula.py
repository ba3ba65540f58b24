"""The course under a plan: what many simulated people do under it, a two-line exponential in the
simplest case, and slopes by differences."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.g_formula import count_exposure, follow, free_form

DAYS, PEOPLE = 12, 200_000
STEP = 1e-6
RATES = np.array([0.02, 0.08, 0.5, 0.9])  # two natural rates, two jumps
NATURAL = np.repeat([0, 1], DAYS // 2)
ACTIONS = {0: 1, 4: 2, 8: 2}

rates = st.lists(st.floats(0.001, 2), min_size=4, max_size=4).map(np.array)


def lay_out(actions: dict[int, int] = ACTIONS) -> np.ndarray:
    return count_exposure(NATURAL, actions, 2, 4)


def test_a_constant_rate_leaves_an_exponential_course():
    course = follow(count_exposure(np.zeros(DAYS, int), {}, 1, 1), np.array([0.1]))
    assert course.share == pytest.approx(np.exp(-0.1 * np.arange(DAYS + 1)))


def test_people_followed_day_by_day_under_the_plan_do_the_same():
    rng = np.random.default_rng(1)
    inside, seen, acts = np.ones(PEOPLE, bool), [1.0], 0.0
    given_actions = 0
    for day in range(1, DAYS + 1):
        if day - 1 in ACTIONS:
            given_actions += inside.sum()  # only to who is still in the state
            acts = RATES[2 + ACTIONS[day - 1] - 1]
        hazard = 1 - np.exp(-(RATES[NATURAL[day - 1]] + acts))
        inside &= rng.random(PEOPLE) >= hazard
        acts = 0.0
        seen.append(inside.mean())
    course = follow(lay_out(), RATES)
    assert course.share == pytest.approx(seen, abs=4 * 0.5 / np.sqrt(PEOPLE))
    on_days = np.isin(np.arange(DAYS + 1), list(ACTIONS)).astype(float)
    mean = course.add_up(on_days).value
    assert mean == pytest.approx(given_actions / PEOPLE, abs=4 * 1.5 / np.sqrt(PEOPLE))


@given(rates)
def test_slopes_are_those_of_the_share(rates):
    course = follow(lay_out(), rates)
    for k in range(len(rates)):
        up, down = (rates * np.exp(side * STEP * np.eye(4)[k]) for side in (1, -1))
        slope = (follow(lay_out(), up).share - follow(lay_out(), down).share) / (2 * STEP)
        assert course.slope[:, k] == pytest.approx(slope, abs=1e-6)


@given(rates, st.integers(0, DAYS - 1), st.sampled_from([1, 2]))
def test_shares_never_rise_and_one_more_action_never_raises_them(rates, day, kind):
    fewer = follow(lay_out({}), rates).share
    more = follow(lay_out({day: kind}), rates).share
    assert (np.diff(more) <= 0).all()
    assert (more <= fewer + 1e-12).all()
    assert more[: day + 1] == pytest.approx(fewer[: day + 1])


def test_a_difference_has_the_variance_of_a_difference():
    rng = np.random.default_rng(2)
    root = rng.normal(0, 0.05, (4, 4))
    covariance = root @ root.T
    weight = np.eye(DAYS + 1)[DAYS]
    pair = [lay_out(), lay_out({0: 2})]
    one, other = (follow(exposure, RATES).add_up(weight).complement() for exposure in pair)
    drawn = RATES * np.exp(rng.multivariate_normal(np.zeros(4), covariance, 4000))
    values = np.array([[1 - follow(each, row).share[DAYS] for each in pair] for row in drawn])
    spread = (values[:, 0] - values[:, 1]).var()
    assert one.minus(other).variance(covariance) == pytest.approx(spread, rel=0.15)
    assert one.minus(one).variance(covariance) == 0


def test_an_action_on_the_last_day_acts_on_none():
    assert (lay_out({DAYS: 1}) == lay_out({})).all()


def test_slopes_by_the_rate_of_a_single_day_are_those_of_the_share():
    daily = RATES[NATURAL]
    course = follow(lay_out(), RATES)
    freed = free_form(course, daily)
    assert (freed.slope[:, : len(RATES)] == course.slope).all()
    for day in range(DAYS):
        off = daily * np.exp(STEP * np.eye(DAYS)[day]) - daily
        moved = course.share * np.exp(-np.r_[0, off.cumsum()])
        slope = (moved - course.share) / STEP
        assert freed.slope[:, len(RATES) + day] == pytest.approx(slope, abs=1e-6)


def test_the_spread_of_a_sum_is_that_of_one_person():
    course = follow(lay_out(), RATES)
    rng = np.random.default_rng(3)
    ends = np.searchsorted(-course.share, -rng.random(PEOPLE))  # in the state before this day
    inside = np.arange(DAYS + 1) < ends[:, None]
    for weight in (np.ones(DAYS + 1), np.eye(DAYS + 1)[5], np.arange(DAYS + 1.0)):
        assert course.spread(weight) == pytest.approx((inside @ weight).var(), rel=0.02)
