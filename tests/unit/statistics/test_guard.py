"""Every guard can be tripped, and lets good data pass."""

import numpy as np
import pytest

from pipeline.statistics.guard import (
    check_positivity,
    check_sites,
    check_size,
    check_solution,
)


@pytest.mark.parametrize(
    ("n_episodes", "n_events", "n_without", "status"),
    [
        (10, 5, None, "too_few"),
        (11, 4, None, "too_few"),
        (11, 5, None, None),
        (11, 7, 4, "too_few"),
        (11, 6, 5, None),
    ],
)
def test_size(plan, n_episodes, n_events, n_without, status):
    refusal = check_size(n_episodes, n_events, plan.study.guards, n_without)
    assert (refusal.status if refusal else None) == status


def test_sites(plan):
    assert check_sites(2, plan.study.guards).status == "not_identified"
    assert check_sites(3, plan.study.guards) is None


@pytest.mark.parametrize(
    ("gradient", "information", "status"),
    [
        ([0, 0], [[4, 1], [1, 3]], None),
        ([1e-3, 0], [[4, 1], [1, 3]], None),  # far below a standard error
        ([1, 0], [[4, 1], [1, 3]], "not_converged"),
        ([0, 0], [[4, 0], [0, -3]], "not_converged"),  # a saddle
        ([np.nan, 0], [[4, 1], [1, 3]], "not_converged"),
        ([0, 0], [[1, 1], [1, 1]], "not_identified"),
        ([0, 0], [[1, 0], [0, 0]], "not_identified"),
    ],
)
def test_solution(gradient, information, status):
    refusal = check_solution(np.array(gradient, dtype=float), np.array(information, dtype=float))
    assert (refusal.status if refusal else None) == status


@pytest.mark.parametrize("scale", [1e-4, 1, 1e4])
def test_solution_does_not_hang_on_the_units_of_a_covariate(scale):
    units = np.diag([1, scale])
    information = units @ np.array([[4, 1], [1, 3]], dtype=float) @ units
    assert check_solution(units @ np.array([1e-3, 1e-3]), information) is None
    assert check_solution(units @ np.array([1.0, 1.0]), information).status == "not_converged"


def test_positivity(plan):
    chances = np.full(100, 0.5)
    assert check_positivity(chances, "change", plan.study.guards) is None
    chances[:2] = 0.001
    assert check_positivity(chances, "change", plan.study.guards).status == "not_identified"
    assert check_positivity(1 - chances, "change", plan.study.guards).status == "not_identified"
