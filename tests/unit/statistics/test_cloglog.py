"""Counted rows: derivatives, collapsing, order, flat likelihoods."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from pipeline.analyses.attempts.fits import refit_rows
from pipeline.statistics.cloglog import (
    Rows,
    collapse_rows,
    find_determined,
    fit_cloglog,
    is_flat,
    score_hazard,
    score_rows,
)
from pipeline.statistics.guard import Refusal
from tests.published.estimators import sandwich_by_cluster

NUMBERS = (
    (641, 1759, 1859, 2141, 2499),
    range(120),
)  # of drawn designs; among the first, the likelihood rises for very long


def simulate(n: int, seed: int, coef: tuple[float, ...] = (-0.5, 0.6, -0.4)):
    rng = np.random.default_rng(seed)
    design = np.column_stack([np.ones(n), rng.integers(0, 2, n), rng.integers(0, 3, n)])
    offset = np.log(rng.choice([1.0, 3.0, 7.0], n)) * 0.2
    return design, offset, rng.random(n) < -np.expm1(-np.exp(offset + design @ coef))


@given(st.floats(-30, 6), st.integers(0, 5), st.integers(0, 5))
def test_derivatives_are_those_of_the_log_likelihood(linear, events, failures):
    counts = np.array([float(events)]), np.array([float(failures)])
    step = 1e-4
    (low, middle, high), (slope_low, slope, slope_high), (_, bend, _) = (
        [part[0] for part in parts]
        for parts in zip(
            *(score_hazard(np.exp([linear + move]), *counts) for move in (-step, 0, step)),
            strict=True,
        )
    )
    assert slope == pytest.approx((high - low) / (2 * step), rel=1e-4, abs=1e-4)
    assert bend == pytest.approx((slope_high - slope_low) / (2 * step), rel=1e-4, abs=1e-4)
    chance = -np.expm1(-np.exp(linear))
    assert middle == pytest.approx(
        (events * np.log(chance) if events else 0) - failures * np.exp(linear), rel=1e-9, abs=1e-12
    )


def test_extreme_hazards_stay_finite():
    value, slope, bend = score_hazard(np.array([1e-304, 1e-9, 500.0, 1e6]), np.ones(4), np.zeros(4))
    assert np.isfinite([value, slope, bend]).all()
    assert value[0] == pytest.approx(np.log(1e-304))


def test_counted_rows_are_repeated_rows_in_coefficients_and_errors():
    design, offset, event = simulate(400, seed=1)
    single = Rows(design, offset, event.astype(float), 1.0 - event)
    counted, _ = collapse_rows(design, offset, event, np.zeros(400, dtype=int))
    assert len(counted.offset) < 30
    one, many = fit_cloglog(counted), fit_cloglog(single)
    np.testing.assert_allclose(one.point, many.point, rtol=0, atol=1e-9)
    np.testing.assert_allclose(one.information, many.information, rtol=1e-9)
    threefold = fit_cloglog(
        Rows(counted.design, counted.offset, 3 * counted.events, 3 * counted.failures)
    )
    np.testing.assert_allclose(threefold.information, 3 * one.information, rtol=1e-8)


def test_order_of_rows_changes_nothing():
    design, offset, event = simulate(300, seed=2)
    mixed = np.random.default_rng(0).permutation(300)
    once, again = (
        fit_cloglog(collapse_rows(design[k], offset[k], event[k], np.zeros(300, dtype=int))[0])
        for k in (slice(None), mixed)
    )
    assert once.point.tobytes() == again.point.tobytes()


def test_planted_coefficients_come_back():
    truth = np.array([-0.5, 0.6, -0.4])
    rows, _ = collapse_rows(*simulate(20_000, seed=3), np.zeros(20_000, dtype=int))
    fit = fit_cloglog(rows)
    assert (np.abs(fit.point - truth) < 4 * np.sqrt(np.diag(np.linalg.inv(fit.information)))).all()


def test_fit_ends_at_the_maximum_where_gaps_differ_by_a_factor_of_hundreds():
    rng = np.random.default_rng(4)
    gap = rng.choice([1.0, 400.0], 2000)
    event = rng.random(2000) < 0.5  # the offset is badly wrong, so that full steps overshoot
    rows, _ = collapse_rows(np.ones((2000, 1)), np.log(gap), event, np.zeros(2000, dtype=int))
    fit = fit_cloglog(rows, np.array([0.0]))
    assert abs(fit.gradient[0]) < 1e-3
    grid = [score_rows(rows, np.array([x]))[0] for x in np.linspace(-9, 1, 400)]
    assert fit.value >= max(grid)


def test_all_events_are_refused():
    assert isinstance(
        fit_cloglog(Rows(np.ones((1, 1)), np.zeros(1), np.array([20.0]), np.zeros(1))), Refusal
    )


def is_separated(design: np.ndarray, happened: np.ndarray) -> bool:
    """Whether some combination of columns is at least 0 in all rows with the event, at most 0 in
    all without, and not 0 in all of them: then there is no maximum (Albert A, Anderson JA.
    Biometrika 1984;71:1-10), which a linear program finds (Konis K, thesis, Oxford 2007; both from
    memory)."""
    rows = design * np.where(happened, 1.0, -1.0)[:, None]
    count, size = rows.shape
    parts = np.column_stack([-rows, np.eye(count)])
    bounds = [(None, None)] * size + [(0, 1)] * count
    result = linprog(
        np.repeat([0.0, -1.0], [size, count]),
        A_ub=parts,
        b_ub=np.zeros(count),
        bounds=bounds,
        method="highs",
    )
    return bool(result.x[size:].max() > 0.5)


def draw_design(number: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A small design of classes, in every second one with a number, its offset and outcome."""
    rng = np.random.default_rng([7, number])
    n = rng.integers(20, 120)
    classes = [
        np.eye(size)[rng.integers(0, size, n)][:, 1:]
        for size in rng.integers(2, 5, rng.integers(1, 4))
    ]
    numbers = [rng.normal(0, 20, n)] if number % 2 else []
    design = np.column_stack([np.ones(n), *classes, *numbers])
    effects = rng.normal(0, 1.5, design.shape[1]) / np.maximum(1, np.abs(design).max(axis=0))
    offset = rng.choice([0, np.log(7), np.log(30)], n) - rng.choice([0, 3])
    return design, offset, rng.random(n) < 1 - np.exp(-np.exp(offset + design @ effects))


def test_rows_that_tell_nothing_apart_have_no_fit():
    none = Rows(np.empty((0, 0)), np.empty(0), np.empty(0), np.empty(0))
    fit = fit_cloglog(none)
    assert isinstance(fit, Refusal)
    assert fit.status == "not_identified"


@pytest.mark.parametrize("numbers", NUMBERS, ids=["likelihood that rises for long", "any"])
def test_a_fit_is_refused_where_and_only_where_the_outcomes_are_separated(numbers):
    refused = []
    for number in numbers:
        design, offset, happened = draw_design(number)
        if np.linalg.matrix_rank(design) == design.shape[1]:
            result = fit_cloglog(
                Rows(design, offset, happened.astype(float), (~happened).astype(float))
            )
            refused.append(isinstance(result, Refusal))
            assert refused[-1] == is_separated(design, happened), number
    assert any(refused)


def test_combination_without_events_costs_one_coefficient_not_all():
    rng = np.random.default_rng(5)
    first, second = rng.integers(0, 2, (2, 3000))
    second[first == 0] = 0
    # nearly the same class: the few others have no event
    second[(first == 1) & (rng.random(3000) < 0.98)] = 1
    event = (rng.random(3000) < 0.5) & ~((first == 1) & (second == 0))
    rows, _ = collapse_rows(
        np.column_stack([first, second, np.ones(3000)]),
        np.zeros(3000),
        event,
        np.zeros(3000, dtype=int),
    )
    stays, known = find_determined(rows, 2)
    assert known.tolist() == [True, False, True]
    assert rows.keep(~stays).design[:, :2].tolist() == [[1, 0]]
    left = Rows(rows.design[:, known], *rows[1:]).keep(stays)
    assert not is_flat(score_rows(left, fit_cloglog(left).point)[2])


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.sampled_from([True, False]))
def test_a_separated_class_changes_no_other_coefficient(seed, outcome):
    """As where its own coefficient is as great as numbers allow:
    counted with the reference it would pull the others."""
    design, offset, event = simulate(300, seed=seed)
    separate = np.random.default_rng(seed).random(300) < 0.1
    event = np.where(separate, outcome, event).astype(bool)
    design = np.column_stack([separate, design])
    rows = Rows(design, offset, event.astype(float), 1.0 - event)
    again = refit_rows(rows, np.zeros(4), 3)
    far = offset + separate * (30 if outcome else -30)
    without_class = fit_cloglog(Rows(design[:, 1:], far, rows.events, rows.failures))
    assert np.isnan(again[0])
    np.testing.assert_allclose(again[1:], without_class.point, atol=1e-5)


def test_refit_says_nothing_of_a_class_that_is_gone():
    design, offset, event = simulate(500, seed=6)
    design = np.column_stack([design, np.zeros(500)])
    rows = Rows(design, offset, event.astype(float), 1.0 - event)
    again = refit_rows(rows, np.zeros(4), 4)
    assert np.isnan(again).tolist() == [False, False, False, True]


def test_sandwich_of_independent_rows_is_near_the_inverse_information():
    design, offset, event = simulate(20_000, seed=7)
    rows = Rows(design, offset, event.astype(float), 1.0 - event)
    fit = fit_cloglog(rows)
    ratio = np.diag(sandwich_by_cluster(rows, fit, np.arange(20_000))) / np.diag(
        np.linalg.inv(fit.information)
    )
    np.testing.assert_allclose(ratio, 1, atol=0.05)
    doubled = Rows(*(np.concatenate([part, part]) for part in rows))
    twice = sandwich_by_cluster(doubled, fit_cloglog(doubled), np.tile(np.arange(20_000), 2))
    np.testing.assert_allclose(twice, sandwich_by_cluster(rows, fit, np.arange(20_000)), rtol=1e-5)
