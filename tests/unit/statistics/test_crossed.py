"""Crossed effects: the likelihood is the integral, its maximum is one, limits hold the truth."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit
from scipy.stats import chi2

from pipeline.statistics.crossed import fit_crossed
from pipeline.statistics.crossed_likelihood import count_rows, find_modes
from pipeline.statistics.crossed_limits import limit_sd
from pipeline.statistics.guard import Refusal

FIRST, SECOND = np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1])


def draw(seed: int, sds: tuple[float, float, float], size: int = 12):
    """Rows of 8 x 7 levels at 9 sites, with their true effects."""
    rng = np.random.default_rng([7, seed])
    levels = [rng.integers(0, n, 220) for n in (8, 7, 9)]
    effects = [rng.normal(0, sd, n) for sd, n in zip(sds, (8, 7, 9), strict=True)]
    eta = 0.3 + sum(effect[level] for effect, level in zip(effects, levels, strict=True))
    members = rng.integers(1, size, 220)
    return count_rows(rng.binomial(members, expit(eta)), members, levels)


@pytest.fixture(scope="module")
def fitted():
    counted = draw(1, (0.8, 0.0, 0.4))
    return counted, fit_crossed(counted)


def test_no_other_standard_deviations_are_likelier(fitted):
    counted, fit = fitted
    grid = np.linspace(0, 2, 9)
    points = np.stack(np.meshgrid(grid, grid, grid), axis=-1).reshape(-1, 3)
    assert find_modes(counted, points).value.max() <= fit.log_likelihood + 1e-9


def test_limits_are_where_the_profile_has_fallen(fitted):
    counted, fit = fitted
    low, high = limit_sd(counted, fit, 0)
    assert low < fit.sds[0] < high
    for end in (low, high):
        others = np.linspace(0, 1.5, 31)
        points = np.stack(np.meshgrid(end, others, others), axis=-1).reshape(-1, 3)
        fall = fit.log_likelihood - find_modes(counted, points).value.max()
        assert 2 * fall == pytest.approx(chi2.ppf(0.95, 1), abs=0.12)
    assert limit_sd(counted, fit, 1)[0] == 0


def test_limits_do_not_hang_on_where_their_search_begins():
    """From 1 a climb ends where other deviations are 0, beside the maximum."""
    counted = draw(1, (0.7, 0.4, 0.5), 5)
    fit = fit_crossed(counted)
    elsewhere = replace(fit, sds=np.array([1.0, fit.sds[1], 1.0]))
    assert limit_sd(counted, elsewhere, 1) == pytest.approx(limit_sd(counted, fit, 1), abs=1e-3)


def test_planted_standard_deviations_lie_within_their_limits():
    truth, held, pools = (0.7, 0.4, 0.5), np.zeros(3), 12
    for seed in range(pools):
        counted = draw(100 + seed, truth)
        fit = fit_crossed(counted)
        for factor, sd in enumerate(truth):
            low, high = limit_sd(counted, fit, factor)
            held[factor] += low <= sd <= high
    # of 36 limits of 95 % fewer than 30 would hold in one of 300 studies (binomial)
    assert held.sum() >= 30


@pytest.mark.parametrize("events", [np.zeros(4), np.full(4, 5.0)])
def test_outcomes_of_one_kind_have_no_fit(events):
    fit = fit_crossed(count_rows(events, np.full(4, 5.0), [FIRST, SECOND]))
    assert isinstance(fit, Refusal)
    assert fit.status == "not_identified"


def test_spreads_that_the_rows_do_not_tell_apart_are_said_to_be_flat():
    """Of a level that is always with one level of another factor."""
    counted = draw(4, (0.8, 0.4, 0.3))
    assert not fit_crossed(counted).flat
    nested = np.arange(40) % 10
    rng = np.random.default_rng(2)
    members = rng.integers(4, 12, 40)
    events = rng.binomial(members, expit(rng.normal(0, 1, 10)[nested]))
    assert fit_crossed(count_rows(events, members, [nested, nested + 50])).flat
    assert fit_crossed(count_rows(events, members, [np.zeros(40), nested])).flat
