"""Predictions one day ahead: they multiply to the likelihood, agree with drawn courses of known
rates, leave as much to chance as they say once rates are fitted, and see habits that are not so."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.statistics.hidden_end import fit_hidden_end
from pipeline.statistics.hidden_end_model import (
    NO_TEST,
    NOT_SEEN,
    TESTED,
    UNWATCHED,
    Courses,
    Rates,
    Sizes,
)
from pipeline.statistics.hidden_end_prediction import (
    NO_CELL,
    compare_positive,
    compare_reports,
    compare_tests,
    predict,
)
from pipeline.statistics.hidden_end_sums import expect
from tests.unit.statistics.simulated_courses import POSITIVE, PRIOR, YES, draw

COMPARISONS = (compare_tests, compare_positive, compare_reports)
TRUE = Rates(  # those by which courses are drawn
    natural=np.array([0.04]),
    jump=np.array([0.0, 0.5]),
    planned=np.array([0.03, 1.2, 0.03, 1.2, 0.005]),
    keeping=np.ones(2),
    chosen=np.array([0.01, 0.08]),
    showing=np.array([POSITIVE[False], POSITIVE[True]]),
    telling=np.array([YES[False], YES[True]]),
    returning=np.array([0.05]),
    leaving=np.zeros(2),
    multiplier=np.ones(1),
)
BANDS = np.repeat([0, 1, 2], [2, 5, 7])  # days 1-2, 3-7, 8-14


def divide(courses: Courses) -> np.ndarray:
    """Cells by place, told by the habit of the first day, and band."""
    place = courses.habit[:, 0] // 2
    return place[:, None] * 3 + BANDS


def leave(courses: Courses, seed: int) -> Courses:
    """A tenth of people leave each day without a word; some are watched for a week only."""
    rng, days = np.random.default_rng(seed), np.arange(courses.coming.shape[1])
    gone = days >= rng.geometric(0.1, len(courses.coming))[:, None]
    unwatched = (days >= 7) & (rng.random(len(courses.coming)) < 0.3)[:, None]
    coming = np.where(gone, NO_TEST, courses.coming)
    return replace(
        courses,
        coming=np.where(unwatched, UNWATCHED, coming),
        result=np.where(gone | unwatched, NOT_SEEN, courses.result),
        report=np.where(gone | unwatched, NOT_SEEN, courses.report),
    )


@pytest.mark.parametrize("leaves", [False, True])
def test_predictions_multiply_to_the_likelihood_of_forward_and_backward_sums(leaves):
    courses, _ = draw(1, 200, 14)
    rates = replace(TRUE, keeping=np.array([0.6, 1.0]))
    if leaves:  # that somebody can be asked would tell that they have not left
        courses = leave(replace(courses, report=np.full_like(courses.report, NOT_SEEN)), 1)
        rates = replace(rates, leaving=np.array([0.15, 0.05]))
    predicted = predict(courses, rates)
    log_seen = np.zeros(len(courses.coming))
    for judged, happened, probability in (
        (courses.coming != UNWATCHED, courses.coming > NO_TEST, predicted.tested),
        (courses.result != NOT_SEEN, courses.result == 1, predicted.positive),
        (courses.report != NOT_SEEN, courses.report == 1, predicted.yes),
    ):
        of_seen = np.where(happened, probability, 1 - probability)
        log_seen += np.where(judged, np.log(np.where(judged, of_seen, 1)), 0).sum(axis=1)
    np.testing.assert_allclose(
        log_seen, np.concatenate([block.log_seen for block in expect(courses, rates)])
    )


def test_what_is_drawn_by_the_rates_is_predicted_and_varies_as_it_is_said():
    deviations = []
    for seed in range(60):
        courses, _ = draw(seed, 400, 14)
        predicted = predict(courses, TRUE)
        free = replace(predicted, slope=np.zeros_like(predicted.slope))  # rates are not fitted
        deviations.append(
            [compare(courses, free, divide(courses), 6).deviation for compare in COMPARISONS]
        )
    deviations = np.array(deviations)
    assert (np.abs(deviations.mean(axis=0)) < 3.5 / np.sqrt(60)).all()
    assert (deviations**2).mean() == pytest.approx(1, abs=0.12)
    assert np.mean(np.abs(deviations) > 2) == pytest.approx(0.0455, abs=0.025)


def test_who_leaves_without_a_word_is_expected_to_be_missing():
    """One habit, nothing done, a twentieth of those in the state and a fifth of others leave."""
    rates = replace(
        TRUE,
        natural=np.array([0.1]),
        planned=np.array([0.2]),
        leaving=np.array([-np.log(0.8), -np.log(0.95)]),
    )
    n, bands = 3000, np.repeat([0, 1, 2], [2, 5, 7])
    deviations = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        lasts, there = np.full(n, True), np.full(n, True)
        coming, result = np.full((n, 14), NO_TEST), np.full((n, 14), NOT_SEEN)
        for k in range(14):
            lasts &= rng.random(n) < np.exp(-0.1)
            there &= rng.random(n) < np.where(lasts, 0.95, 0.8)
            comes = there & (rng.random(n) < -np.expm1(-(0.2 + np.where(lasts, 0.08, 0.01))))
            coming[comes, k] = TESTED
            positive = rng.random(n) < np.where(lasts, POSITIVE[True], POSITIVE[False])
            result[comes, k] = positive[comes]
        zero = np.zeros((n, 14), int)
        plain = Courses(zero, zero, zero, coming, result, zero - 1, PRIOR, Sizes(1, 2, 1))
        predicted = predict(plain, rates)
        free = replace(predicted, slope=np.zeros_like(predicted.slope))
        cell = np.broadcast_to(bands, coming.shape)
        deviations.append([compare(plain, free, cell, 3).deviation for compare in COMPARISONS[:2]])
    deviations = np.array(deviations)
    assert (np.abs(deviations.mean(axis=0)) < 3.5 / np.sqrt(20)).all()
    assert (deviations**2).mean() == pytest.approx(1, abs=0.4)


def test_derivatives_are_those_of_the_probabilities():
    courses = leave(draw(2, 60, 14, reasons=True)[0], 2)
    step, first = 1e-5, np.arange(1)
    once = {
        sign: predict(courses, replace(TRUE, planned=TRUE.planned * np.exp(sign * step)))
        for sign in (-1, 1)
    }
    middle = predict(courses, TRUE)
    # of the first day, whose people are all as they were at the beginning
    moved = (once[1].tested[:, first] - once[-1].tested[:, first]) / (2 * step)
    np.testing.assert_allclose(middle.slope[:, first], moved, atol=1e-8)
    logs = {
        sign: np.log(_probability_of_coming(courses, replace(TRUE, planned=p)))
        for sign, p in ((s, TRUE.planned * np.exp(s * step)) for s in (-1, 1))
    }
    np.testing.assert_allclose(middle.score[:, 0], (logs[1] - logs[-1]) / (2 * step), atol=1e-6)


def _probability_of_coming(courses: Courses, rates: Rates) -> np.ndarray:
    """Of what came on the first day, by the likelihood of that day alone."""
    names = ("natural_class", "jump_class", "habit", "coming")
    nothing = np.full((len(courses.coming), 1), NOT_SEEN)
    day = {name: getattr(courses, name)[:, :1] for name in names}
    alone = replace(courses, **day, result=nothing, report=nothing)
    return np.exp(np.concatenate([block.log_seen for block in expect(alone, rates)]))


@pytest.mark.parametrize("reasons", [False, True])
def test_fitted_habits_take_up_what_is_taken_off_the_variance(reasons):
    taken, deviations = [], []
    for seed in range(8):
        courses, _ = draw(seed, 300, 14, reasons=reasons)
        predicted = predict(courses, fit_hidden_end(courses).rates)
        compared = compare_tests(courses, predicted, divide(courses), 6)
        free = replace(predicted, slope=np.zeros_like(predicted.slope))
        whole = compare_tests(courses, free, divide(courses), 6)
        kept = compared.variance > 5
        deviations.append(compared.deviation[kept])
        taken.append((compared.variance / whole.variance)[kept])
    assert np.mean(np.concatenate(taken)) < 0.9
    assert (np.concatenate(deviations) ** 2).mean() == pytest.approx(1, abs=0.4)


def test_a_place_that_tests_twice_as_often_in_one_band_is_seen():
    courses, end = draw(7, 800, 14)
    rng, days = np.random.default_rng(7), np.arange(1, 15)
    rows = (divide(courses) == 5) & (courses.coming == NO_TEST)
    more = rows & (rng.random(rows.shape) < 0.1)  # as often again as they come there
    lasting = days < end[:, None]
    positive = rng.random(rows.shape) < np.where(lasting, POSITIVE[True], POSITIVE[False])
    changed = replace(
        courses,
        coming=np.where(more, TESTED, courses.coming),
        result=np.where(more, positive, courses.result),
    )
    before, after = (
        compare_tests(c, predict(c, fit_hidden_end(c).rates), divide(c), 6)
        for c in (courses, changed)
    )
    assert np.nanmax(np.abs(before.deviation)) < 3
    assert np.nanargmax(np.abs(after.deviation)) == 5
    assert after.deviation[5] > 5


def test_a_place_whose_patients_are_ill_for_longer_has_more_positive_tests_than_expected():
    courses, _ = draw(8, 800, 14)
    odd = (courses.habit[:, 0] // 2 == 1)[:, None]
    tested = courses.result != NOT_SEEN
    rng = np.random.default_rng(8)
    worse = replace(
        courses, result=np.where(odd & tested & (rng.random(tested.shape) < 0.4), 1, courses.result)
    )
    compared = compare_positive(
        worse, predict(worse, fit_hidden_end(worse).rates), divide(worse), 6
    )
    assert compared.deviation[[4, 5]].min() > 2
    assert (compared.seen[[4, 5]] > compared.expected[[4, 5]]).all()


def test_days_of_no_cell_are_not_counted():
    courses, _ = draw(9, 100, 14)
    predicted = predict(courses, TRUE)
    cell = divide(courses)
    some = np.where(BANDS == 1, NO_CELL, cell)
    for compare in COMPARISONS:
        whole, part = (compare(courses, predicted, c, 6) for c in (cell, some))
        np.testing.assert_allclose(part.seen[[0, 2, 3, 5]], whole.seen[[0, 2, 3, 5]])
        np.testing.assert_allclose(part.expected[[0, 2, 3, 5]], whole.expected[[0, 2, 3, 5]])
        assert (part.seen[[1, 4]] == 0).all()
        assert np.isnan(part.deviation[[1, 4]]).all()
