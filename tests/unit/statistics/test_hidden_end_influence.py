"""What a fit of a hidden state knows: scores and gradients by differences, errors by simulation,
and no number where nothing tells."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.statistics.hidden_end import find_weights, fit_hidden_end
from pipeline.statistics.hidden_end_influence import (
    _score,
    know_multipliers,
    know_rates,
    know_shares,
    know_sums,
    refit_without,
)
from pipeline.statistics.hidden_end_model import NO_TEST, NOT_SEEN, Courses, Rates
from pipeline.statistics.hidden_end_sums import expect, expect_until
from tests.unit.statistics.simulated_courses import draw

STEP = 1e-5
DAYS = (1, 3, 9)


def move(rates: Rates, name: str, k: int, step: float) -> Rates:
    """One rate, or the odds of one probability, times exp(step)."""
    numbers = getattr(rates, name).copy()
    if name in ("showing", "telling", "returning"):
        odds = numbers[k] / (1 - numbers[k]) * np.exp(step)
        numbers[k] = odds / (1 + odds)
    else:
        numbers[k] *= np.exp(step)
    return replace(rates, **{name: numbers})


def list_parameters(rates: Rates) -> list[tuple[str, int]]:
    sizes = {name: len(getattr(rates, name)) for name in ("natural", "jump")}
    names = [(name, k) for name, size in sizes.items() for k in range(name == "jump", size)]
    names += [("keeping", 0)]  # in the state all appointments are those of the habit
    names += [(name, k) for name in ("chosen", "showing", "telling") for k in (0, 1)]
    return [*names, ("returning", 0), ("leaving", 0), ("leaving", 1)]


def total_score(courses: Courses, rates: Rates) -> np.ndarray:
    return sum(_score(courses, rates, expected).sum(axis=0) for expected in expect(courses, rates))


def differ(function, rates: Rates, name: str, k: int) -> np.ndarray:
    """The slope of a function of rates."""
    below, above = (function(move(rates, name, k, step)) for step in (-STEP, STEP))
    return (above - below) / (2 * STEP)


@pytest.mark.parametrize("reasons", [False, True])
def test_scores_are_the_slope_of_the_likelihood(reasons):
    courses, _ = draw(1, 60, 10, reasons=reasons)
    rates = fit_hidden_end(courses).rates
    rates = replace(rates, jump=rates.jump * 0.8, chosen=rates.chosen + 0.05)
    rates = replace(rates, keeping=np.array([0.8, 1.0]), leaving=np.array([0.02, 0.01]))
    score = total_score(courses, rates)

    def log_likelihood(rates: Rates) -> float:
        return sum(expected.log_seen.sum() for expected in expect(courses, rates))

    for column, parameter in enumerate(list_parameters(rates)):
        slope = differ(log_likelihood, rates, *parameter)
        assert score[column] == pytest.approx(slope, abs=1e-3, rel=1e-4), parameter


def test_scores_of_courses_that_end_by_a_day_are_the_slope_of_their_probability():
    courses, _ = draw(1, 60, 10)
    rates = replace(fit_hidden_end(courses).rates, leaving=np.array([0.02, 0.01]))

    def share(rates: Rates) -> float:
        return sum(part.weight.sum() for _, part in expect_until(courses, rates, (4,)))

    slopes = 0.0
    for whole, part in expect_until(courses, rates, (4,)):
        of_part, of_whole = (_score(courses, rates, one) for one in (part, whole))
        slopes = slopes + (of_part - part.weight[:, None] * of_whole).sum(axis=0)
    for column, parameter in enumerate(list_parameters(rates)):
        slope = differ(share, rates, *parameter)
        assert slopes[column] == pytest.approx(slope, abs=1e-4, rel=1e-4), parameter


def test_the_standard_error_is_the_spread_of_shares():
    """40 pools of 400: the root mean effective variance against the spread of the errors, whose
    own relative error is about an eighth."""
    errors, variances = [], []
    for seed in range(40):
        courses, _ = draw(100 + seed, 400, 12)
        fit = fit_hidden_end(courses)
        known = know_shares(courses, fit, DAYS, np.full((400, 1), True), 1.0)
        share, number = known.value[0], known.effective[0]
        variances.append(share * (1 - share) / number)
        errors.append(share)
        np.testing.assert_allclose(share, fit.share_ended(np.array(DAYS)))
    spread = np.std(errors, axis=0, ddof=1)
    assert spread == pytest.approx(np.sqrt(np.mean(variances, axis=0)), rel=0.3)


def test_groups_have_their_own_shares_and_no_more_people_than_they_are():
    courses, _ = draw(7, 300, 12)
    fit = fit_hidden_end(courses)
    first = np.arange(300) < 100
    known = know_shares(courses, fit, DAYS, np.column_stack([first, ~first]), 1.0)
    weight = find_weights(courses, fit.rates)
    by_day = weight[:, :-1].cumsum(axis=1)[:, np.array(DAYS) - 1]
    np.testing.assert_allclose(known.value, [by_day[first].mean(0), by_day[~first].mean(0)])
    assert (known.effective_freed <= known.effective * 1.01).all()


def test_a_sum_is_known_as_its_shares_are():
    courses, _ = draw(7, 300, 12)
    fit = fit_hidden_end(courses)
    weight = np.random.default_rng(1).uniform(0.5, 2, (300, 1))
    days = np.eye(12)
    sums = np.array([days[4], days[:9].sum(axis=0), -days[:9].sum(axis=0)])
    known = know_sums(courses, fit, sums, weight, 1.0)
    by_day = find_weights(courses, fit.rates)[:, :-1].cumsum(axis=1)
    np.testing.assert_allclose(known.value[0], weight[:, 0] @ by_day @ sums.T / weight.sum())
    share, error = known.value[0, 0], known.error[0, 0]
    assert known.effective[0, 0] == pytest.approx(share * (1 - share) / error**2)
    alone = know_shares(courses, fit, (5,), weight, 1.0)
    assert alone.effective_freed[0, 0] == pytest.approx(known.effective_freed[0, 0])
    # a sum is known as well as what it is less a constant
    assert known.error[0, 1] == pytest.approx(known.error[0, 2])
    assert known.effective[0, 1] == pytest.approx(known.effective[0, 2])


def test_the_standard_error_of_a_mean_is_the_spread_of_means():
    """40 pools of 400: days in the state up to day 9, whose error's own error is an eighth."""
    means, variances = [], []
    sums = np.eye(12)[None, :9].sum(axis=1)
    for seed in range(40):
        courses, _ = draw(100 + seed, 400, 12)
        known = know_sums(courses, fit_hidden_end(courses), sums, np.ones((400, 1)), 1.0)
        means.append(9 - known.value[0, 0])
        variances.append(known.error[0, 0] ** 2)
    assert np.std(means, ddof=1) == pytest.approx(np.sqrt(np.mean(variances)), rel=0.3)


def test_days_before_anybody_could_be_tested_are_known_from_the_form_alone():
    courses, _ = draw(8, 500, 12)
    early = np.arange(12) < 6
    blind = replace(
        courses,
        coming=np.where(early, NO_TEST, courses.coming),
        result=np.where(early, NOT_SEEN, courses.result),
        report=np.full(courses.report.shape, NOT_SEEN),
    )
    everybody = np.full((500, 1), True)
    seen = know_shares(courses, fit_hidden_end(courses), (1, 9), everybody, 1.0)
    unseen = know_shares(blind, fit_hidden_end(blind), (1, 9), everybody, 1.0)
    assert seen.effective_freed[0].min() > 100
    assert unseen.effective_freed[0, 0] < seen.effective_freed[0, 0] / 2
    assert unseen.effective_freed[0, 0] < unseen.effective[0, 0] / 2
    assert unseen.effective_freed[0, 1] > unseen.effective[0, 1] / 2


def test_later_courses_tell_how_often_tests_are_misread():
    courses, _ = draw(9, 500, 20)
    everybody = np.full((500, 1), True)
    telling = know_shares(courses, fit_hidden_end(courses), (5,), everybody, 1.0).tests
    alone = replace(  # one test each: nothing contradicts it
        courses,
        coming=np.where(courses.coming.cumsum(axis=1) > NO_TEST * 20, NO_TEST, courses.coming),
        result=np.where((courses.result != NOT_SEEN).cumsum(axis=1) > 1, NOT_SEEN, courses.result),
    )
    silent = know_shares(alone, fit_hidden_end(alone), (5,), everybody, 1.0).tests
    assert (silent < telling / 2).all()


def test_multipliers_of_groups_come_back_with_their_errors():
    planted = np.log([0.6, 1.0, 1.6])
    scores = []
    for seed in range(20):
        courses, _ = draw(200 + seed, 600, 15, groups=(0.6, 1.0, 1.6))
        fit = fit_hidden_end(courses)
        covariance = know_multipliers(courses, fit)
        logs = np.log(fit.rates.multiplier)
        error = logs - logs.mean() - (planted - planted.mean())
        scores.append(error / np.sqrt(np.diag(covariance)))
    scores = np.array(scores)
    assert np.abs(scores.mean(axis=0)).max() < 4 / np.sqrt(20)
    assert scores.std() == pytest.approx(1, abs=0.3)


def test_rates_without_a_cluster_are_nearly_those_of_a_fit_without_it():
    steps, refits = [], []
    for seed in (4, 5, 6):
        courses, _ = draw(seed, 900, 12)
        fit = fit_hidden_end(courses)
        cluster = np.arange(900) % 6
        for name, stepped in enumerate(refit_without(courses, fit, cluster)):
            refitted = fit_hidden_end(courses.keep(cluster != name), fit.rates).rates
            for rates, moves in ((stepped, steps), (refitted, refits)):
                moved = np.log([rates.natural[0], rates.jump[1]])
                moves.append(moved - np.log([fit.rates.natural[0], fit.rates.jump[1]]))
    stepped, refitted = np.array(steps), np.array(refits)
    # a refit has habits of its own too, which take up part of what a rate would have to
    assert np.corrcoef(stepped.ravel(), refitted.ravel())[0, 1] > 0.85
    ratio = np.sqrt((stepped**2).mean(axis=0) / (refitted**2).mean(axis=0))
    assert (ratio > 0.85).all()
    assert (ratio < 1.5).all()


def test_freeing_the_form_makes_rates_less_known_and_leaves_days_to_what_is_taken_beforehand():
    courses, _ = draw(11, 400, 12)
    fit = fit_hidden_end(courses)
    plain, freed = know_rates(courses, fit, 0.5)
    rates = len(plain)
    assert freed.shape == (rates + 12, rates + 12)
    assert (np.diag(freed)[:rates] >= np.diag(plain) * (1 - 1e-9)).all()
    assert (np.diag(freed)[rates:] <= 0.25 * (1 + 1e-9)).all()


def test_the_covariance_of_rates_is_their_spread_over_pools():
    logs, variances = [], []
    for seed in range(60):
        courses, _ = draw(100 + seed, 600, 12)
        fit = fit_hidden_end(courses)
        logs.append(np.log(np.r_[fit.rates.natural, fit.rates.jump[1:]]))
        variances.append(np.diag(know_rates(courses, fit, 1.0)[0]))
    spread, said = np.var(logs, axis=0, ddof=1), np.median(variances, axis=0)
    # a variance from 60 pools has a relative standard error of .18
    assert said == pytest.approx(spread, rel=0.6)
