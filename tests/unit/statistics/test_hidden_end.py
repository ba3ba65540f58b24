"""The end of a hidden state: a likelihood that can be counted out, the fit at its maximum, the
limiting case without a model of looks, and planted rates that come back."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.statistics.hidden_end import Courses, Rates, _expect, fit_hidden_end
from pipeline.statistics.npmle import fit_npmle

PLAIN = (20.0, 0.02, 0.95)


def draw(seed: int, people: int, days: int) -> tuple[Courses, np.ndarray]:
    """Courses with two habits, looks that the state brings about, sessions after positive looks,
    misread looks and telephone calls; and the true day of each end (days + 1: later)."""
    rng = np.random.default_rng(seed)
    place = rng.integers(0, 2, people)
    usual = np.array([1, 7])[place]
    shape = (people, days)
    done, habit = np.zeros(shape, int), np.zeros(shape, int)
    looked, shown, said = np.zeros(shape, bool), np.full(shape, -1), np.full(shape, -1)
    end = np.full(people, days + 1)
    since, cleared = np.zeros(people, int), np.zeros(people, bool)
    treated = np.full(people, True)
    for k in range(days):
        done[:, k] = treated
        since = np.where(treated, 0, since) + 1
        lasting = end > days
        hazard = 0.04 + 0.5 * treated
        ends = lasting & (rng.random(people) < -np.expm1(-hazard))
        end[ends] = k + 1
        lasting &= ~ends
        due = since == usual
        habit[:, k] = np.where(cleared, 4, place * 2 + due)
        planned = np.where(cleared, 0.005, np.where(due, 1.2, 0.03))
        came = rng.random(people) < -np.expm1(-(planned + np.where(lasting, 0.08, 0.01)))
        positive = rng.random(people) < np.where(lasting, 0.95, 0.02)
        looked[:, k] = came
        shown[came, k] = positive[came]
        treated = came & positive
        cleared |= came & ~positive
        since = np.where(came, 0, since)
        called = rng.random(people) < 0.03
        said[called, k] = (rng.random(people) < np.where(lasting, 0.9, 0.1))[called]
    watched = np.ones(shape, bool)
    return Courses(np.zeros(shape, int), done, habit, watched, looked, shown, said, PLAIN), end


def test_the_likelihood_is_that_of_all_ends_counted_out():
    courses, _ = draw(1, 6, 4)
    rates = Rates(
        np.array([0.1]),
        np.array([0.0, 0.4]),
        np.array([0.1, 0.9, 0.2, 0.8, 0.05]),
        np.array([0.02, 0.3]),
        np.array([0.03, 0.9]),
        np.array([0.2, 0.8]),
    )
    weight, _ = _expect(courses, rates)
    for person, end in itertools.product(range(6), range(1, 6)):
        assert weight[person, end - 1] == pytest.approx(count_out(courses, rates, person, end))


def count_out(courses: Courses, rates: Rates, person: int, end: int) -> float:
    """The probability of an end on a day, by multiplying day by day for each of them."""

    def joint(end: int) -> float:
        chance = 1.0
        for k in range(4):
            done, habit = courses.done[person, k], courses.habit[person, k]
            hazard = 1 - np.exp(-(rates.natural[0] + rates.jump[done]))
            if k + 1 < end:
                chance *= 1 - hazard
            elif k + 1 == end:
                chance *= hazard
            lasts = int(k + 1 < end)
            look = 1 - np.exp(-(rates.planned[habit] + rates.chosen[lasts]))
            chance *= look if courses.looked[person, k] else 1 - look
            for seen, right in ((courses.shown, rates.showing), (courses.said, rates.telling)):
                if seen[person, k] >= 0:
                    chance *= right[lasts] if seen[person, k] else 1 - right[lasts]
        return chance

    return joint(end) / sum(joint(other) for other in range(1, 6))


def test_a_fit_is_at_a_maximum():
    courses, _ = draw(2, 300, 20)
    fit = fit_hidden_end(courses)
    value = _expect(courses, fit.rates)[1]
    for name in ("natural", "jump", "planned", "chosen", "showing", "telling"):
        numbers = getattr(fit.rates, name)
        for k in range(name == "jump", len(numbers)):
            if numbers[k] < 1e-3:  # at its end
                continue
            for step in (0.98, 1.02):
                moved = numbers.copy()
                moved[k] = min(moved[k] * step, 1 - 1e-9 if name in ("showing", "telling") else 9)
                there = _expect(courses, replace(fit.rates, **{name: moved}))[1]
                assert there <= value + 0.01


def test_without_a_model_of_looks_it_is_the_estimate_from_intervals():
    """Looks taken as given, never misread, with a hazard of its own for each day: the
    nonparametric maximum likelihood of intervals (Turnbull 1976)."""
    courses, _ = draw(3, 400, 15)
    days = np.arange(15)
    positive = np.where(courses.shown == 1, days + 1, 0).max(axis=1)
    clear = np.where((courses.shown == 0) & (days + 1 > positive[:, None]), days + 1, 99)
    right = clear.min(axis=1).astype(float)
    right[right == 99] = np.inf
    sure = np.full(courses.shown.shape, -1)
    people = np.arange(len(sure))
    sure[people[positive > 0], positive[positive > 0] - 1] = 1
    seen = np.isfinite(right)
    sure[people[seen], right[seen].astype(int) - 1] = 0
    plain = replace(
        courses,
        part=np.broadcast_to(days, sure.shape),
        done=np.zeros(sure.shape, int),
        watched=np.zeros(sure.shape, bool),
        looked=np.zeros(sure.shape, bool),
        said=np.full(sure.shape, -1),
        shown=sure,
        belief=(1e9, 1e-9, 1 - 1e-9),
    )
    ours = fit_hidden_end(plain).share_ended(days + 1)
    low, high = fit_npmle(positive.astype(float), right).survival(days + 1)
    assert (1 - high - 2e-3 <= ours).all()
    assert (ours <= 1 - low + 2e-3).all()
    known = high - low < 1e-6  # days on which intervals tell the share
    assert known.sum() > 3
    np.testing.assert_allclose(ours[known], 1 - high[known], atol=2e-3)


def test_planted_shares_come_back_whoever_was_looked_at_and_whenever():
    errors = []
    for seed in range(8):
        courses, end = draw(10 + seed, 600, 40)
        fit = fit_hidden_end(courses)
        errors.append(fit.share_ended(np.array([1, 7, 30])) - (end[:, None] <= [1, 7, 30]).mean(0))
    errors = np.array(errors)
    spread = errors.std(axis=0, ddof=1) / np.sqrt(len(errors))
    assert (np.abs(errors.mean(axis=0)) < 0.01 + 3 * spread).all()


@settings(max_examples=10)
@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
def test_the_order_of_people_does_not_matter_and_shares_grow(seed, random):
    courses, _ = draw(seed, 80, 12)
    fit = fit_hidden_end(courses)
    shares = fit.share_ended(np.arange(1, 13))
    assert (np.diff(shares) >= 0).all()
    assert (shares <= 1).all()
    order = list(range(80))
    random.shuffle(order)
    again = fit_hidden_end(courses.keep(np.array(order)))
    np.testing.assert_allclose(again.share_ended(np.arange(1, 13)), shares, atol=1e-4)
