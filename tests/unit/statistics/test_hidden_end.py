"""The end of a hidden state: a likelihood that can be counted out, the fit at its maximum, the
limiting case without a model of tests, and planted rates that come back."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.statistics import hidden_end
from pipeline.statistics.hidden_end import fit_hidden_end
from pipeline.statistics.hidden_end_model import (
    NO_TEST,
    NOT_SEEN,
    UNWATCHED,
    Courses,
    Prior,
    Rates,
    Sizes,
)
from pipeline.statistics.hidden_end_parameters import PROBABILITIES, believe
from pipeline.statistics.hidden_end_sums import expect
from pipeline.statistics.npmle import fit_npmle
from pipeline.statistics.npmle_search import NotConverged
from tests.unit.statistics.simulated_courses import HABITS, POSITIVE, YES, draw


def penalised(courses: Courses, rates: Rates) -> float:
    of_people = sum(expected.log_seen.sum() for expected in expect(courses, rates))
    return of_people + believe(courses, rates).value


@pytest.mark.parametrize("reasons", [False, True])
def test_a_fit_is_at_a_maximum(reasons):
    courses, _ = draw(2, 300, 20, reasons=reasons, groups=(0.6, 1.4))
    fit = fit_hidden_end(courses)
    value = penalised(courses, fit.rates)
    assert fit.value == pytest.approx(value)
    for name in (field.name for field in fields(Rates)):
        numbers = getattr(fit.rates, name)
        for k in range(name == "jump", len(numbers) - (name == "keeping")):
            if numbers[k] < 1e-3:  # at its end
                continue
            for step in (0.98, 1.02):
                moved = numbers.copy()
                moved[k] = min(moved[k] * step, 1 - 1e-9 if name in PROBABILITIES else 9)
                rates = replace(fit.rates, **{name: moved})
                assert penalised(courses, rates) <= value + 0.001


def test_without_a_model_of_tests_it_is_the_estimate_from_intervals():
    """Tests taken as given, never misread, with a hazard of its own for each day: the
    nonparametric maximum likelihood of intervals (Turnbull BW. J R Stat Soc B 1976;38:290-295)."""
    courses, _ = draw(3, 400, 15)
    days = np.arange(15)
    positive = np.where(courses.result == 1, days + 1, 0).max(axis=1)
    clear = np.where((courses.result == 0) & (days + 1 > positive[:, None]), days + 1, 99)
    right = clear.min(axis=1).astype(float)
    right[right == 99] = np.inf
    sure = np.full(courses.result.shape, NOT_SEEN)
    people = np.arange(len(sure))
    sure[people[positive > 0], positive[positive > 0] - 1] = 1
    seen = np.isfinite(right)
    sure[people[seen], right[seen].astype(int) - 1] = 0
    plain = Courses(
        natural_class=np.broadcast_to(days, sure.shape),
        jump_class=np.zeros(sure.shape, int),
        habit=np.zeros(sure.shape, int),
        coming=np.full(sure.shape, UNWATCHED),
        result=sure,
        report=np.full(sure.shape, NOT_SEEN),
        prior=Prior(np.inf, sensitivity=1 - 1e-9, specificity=1 - 1e-9, ends=0.0, others=0.0),
        sizes=Sizes(15, 1, 1),
    )
    ours = fit_hidden_end(plain).share_ended(days + 1)
    low, high = fit_npmle(positive.astype(float), right).survival(days + 1)
    assert (1 - high - 2e-3 <= ours).all()
    assert (ours <= 1 - low + 2e-3).all()
    known = high - low < 1e-6  # days on which intervals tell the share
    assert known.sum() > 3
    np.testing.assert_allclose(ours[known], 1 - high[known], atol=2e-3)


@pytest.mark.parametrize("reasons", [False, True])
def test_planted_shares_and_rates_come_back_whoever_was_tested_and_whenever(reasons):
    errors, rates = [], []
    for seed in range(8):
        courses, end = draw(10 + seed, 600, 40, reasons=reasons)
        fit = fit_hidden_end(courses)
        errors.append(fit.share_ended(np.array([1, 7, 30])) - (end[:, None] <= [1, 7, 30]).mean(0))
        of_fit = fit.rates
        rates.append([of_fit.natural[0], of_fit.jump[1], of_fit.chosen[1], of_fit.telling[1]])
    errors = np.array(errors)
    spread = errors.std(axis=0, ddof=1) / np.sqrt(len(errors))
    assert (np.abs(errors.mean(axis=0)) < 0.01 + 3 * spread).all()
    rates = np.array(rates)
    spread = rates.std(axis=0, ddof=1) / np.sqrt(len(rates))
    assert (np.abs(rates.mean(axis=0) - [0.04, 0.5, 0.08, YES[True]]) < 0.005 + 4 * spread).all()


def test_known_reasons_tell_more_of_tests_that_the_state_brings_about():
    spread = []
    for reasons in (False, True):
        fits = [fit_hidden_end(draw(s, 400, 20, reasons=reasons)[0]) for s in range(10)]
        spread.append(np.std([fit.rates.chosen[1] for fit in fits]))
    assert spread[1] < spread[0]


def test_who_leaves_without_a_word_once_well_takes_nothing_off_the_shares():
    """A twentieth of those who are well stay away for good each day."""
    errors = []
    for seed in range(8):
        courses, end = draw(40 + seed, 600, 30)
        rng, days = np.random.default_rng(seed), np.arange(1, 31)
        well = days >= end[:, None]
        leaves = np.where(well & (rng.random(well.shape) < 0.05), days, 99).min(axis=1)
        gone = days >= leaves[:, None]
        fit = fit_hidden_end(
            replace(
                courses,
                coming=np.where(gone, NO_TEST, courses.coming),
                result=np.where(gone, NOT_SEEN, courses.result),
                report=np.where(gone, NOT_SEEN, courses.report),
            )
        )
        errors.append(fit.share_ended(np.array([1, 7, 20])) - (end[:, None] <= [1, 7, 20]).mean(0))
    errors = np.array(errors)
    spread = errors.std(axis=0, ddof=1) / np.sqrt(len(errors))
    assert (np.abs(errors.mean(axis=0)) < 0.01 + 3 * spread).all()


def test_who_keeps_fewer_appointments_once_well_takes_nothing_off_the_shares():
    errors, keeping = [], []
    for seed in range(8):
        courses, end = draw(60 + seed, 800, 30, keeping=0.4)
        fit = fit_hidden_end(courses)
        keeping.append(fit.rates.keeping[0])
        errors.append(fit.share_ended(np.array([1, 7, 20])) - (end[:, None] <= [1, 7, 20]).mean(0))
    errors = np.array(errors)
    spread = errors.std(axis=0, ddof=1) / np.sqrt(len(errors))
    assert (np.abs(errors.mean(axis=0)) < 0.015 + 3 * spread).all()
    assert np.mean(keeping) < 0.7


def test_the_prior_of_rates_draws_a_class_without_people_to_its_centre():
    courses, _ = draw(4, 200, 10)
    sizes = Sizes(2, 3, HABITS)  # the second natural class and the second jump are of nobody
    prior = replace(
        courses.prior, ends=2.0, natural=np.array([0.04, 0.3]), jump=np.array([0.0, 0.5, 0.7])
    )
    fit = fit_hidden_end(replace(courses, sizes=sizes, prior=prior))
    assert fit.rates.natural[1] == pytest.approx(0.3, rel=0.01)
    assert fit.rates.jump[2] == pytest.approx(0.7, rel=0.01)
    alone = fit_hidden_end(replace(courses, prior=replace(courses.prior, ends=0.0)))
    assert fit.rates.jump[1] == pytest.approx(alone.rates.jump[1], rel=0.1)


def test_a_search_that_does_not_end_says_so(monkeypatch):
    monkeypatch.setattr(hidden_end, "ROUNDS", 1)
    with pytest.raises(NotConverged, match="still rises"):
        fit_hidden_end(draw(5, 100, 10)[0])


def test_tests_are_taken_as_right_as_is_believed_where_they_do_not_tell():
    courses, _ = draw(6, 400, 20)
    held = replace(courses.prior, tests=np.inf, sensitivity=0.9, specificity=0.97)
    fit = fit_hidden_end(replace(courses, prior=held))
    np.testing.assert_allclose(fit.rates.showing, [0.03, 0.9], atol=1e-4)
    free = fit_hidden_end(replace(courses, prior=replace(courses.prior, tests=1.0)))
    np.testing.assert_allclose(free.rates.showing, [POSITIVE[False], POSITIVE[True]], atol=0.03)


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


def test_many_people_are_fitted_as_few_are(monkeypatch):
    """Where a search begins does not decide where it ends."""
    courses, _ = draw(6, 1200, 15)
    whole = fit_hidden_end(courses)
    monkeypatch.setattr("pipeline.statistics.hidden_end.MANY", 600)
    begun_of_a_part = fit_hidden_end(courses)
    assert begun_of_a_part.value == pytest.approx(whole.value, abs=1e-6)
    days = np.arange(1, 16)
    np.testing.assert_allclose(
        begun_of_a_part.share_ended(days), whole.share_ended(days), atol=1e-5
    )


@pytest.mark.parametrize("calls", [True, False])
def test_a_search_from_afar_ends_no_lower_than_one_from_the_planted_rates(calls):
    """There are lower maxima, such as one where most tests of who is well were misread."""
    for seed in range(10):
        courses, _ = draw(300 + seed, 400, 30)
        if not calls:
            courses = replace(courses, report=np.full(courses.report.shape, NOT_SEEN))
        planted = Rates(
            natural=np.array([0.04]),
            jump=np.array([0.0, 0.5]),
            planned=np.array([0.03, 1.2, 0.03, 1.2, 0.005]),
            keeping=np.ones(2),
            chosen=np.array([0.01, 0.08]),
            showing=np.array([POSITIVE[False], POSITIVE[True]]),
            telling=np.array([YES[False], YES[True]]),
            returning=np.array([0.05]),
            leaving=np.array([1e-4, 1e-4]),
            multiplier=np.ones(1),
        )
        assert fit_hidden_end(courses).value > fit_hidden_end(courses, planted).value - 0.01
