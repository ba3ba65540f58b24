"""Rows of parameters, and slopes of the likelihood by them."""

from dataclasses import fields, replace

import numpy as np
import pytest

from pipeline.statistics.hidden_end import fit_hidden_end
from pipeline.statistics.hidden_end_model import Courses, Rates, begin
from pipeline.statistics.hidden_end_scores import (
    HIGHEST,
    LOWEST,
    believe,
    count_days,
    find_free,
    from_row,
    list_parameters,
    score_people,
    slope_of_likelihood,
    to_row,
)
from pipeline.statistics.hidden_end_sums import expect
from tests.unit.statistics.simulated_courses import draw

STEP = 1e-5


def differ(courses: Courses, row: np.ndarray, value) -> np.ndarray:
    """The slope of a function of rates, by the parameters of a row."""

    def move(k: int, step: float) -> float:
        moved = row.copy()
        moved[k] += step
        return value(from_row(moved, courses.sizes))

    return np.array([(move(k, STEP) - move(k, -STEP)) / (2 * STEP) for k in range(len(row))])


@pytest.mark.parametrize("groups", [(), (0.6, 1.0, 1.4)])
def test_a_row_holds_the_rates(groups):
    courses, _ = draw(1, 20, 5, groups=groups)
    rates = replace(begin(courses), leaving=np.array([0.0, 0.01]))
    row = to_row(rates)
    assert len(row) == list_parameters(courses.sizes)["multiplier"].stop
    again = from_row(row, courses.sizes)
    for field in fields(Rates):
        np.testing.assert_allclose(getattr(again, field.name), getattr(rates, field.name))
    assert again.leaving[0] == 0


@pytest.mark.parametrize("reasons", [False, True])
@pytest.mark.parametrize("groups", [(), (0.6, 1.4)])
def test_scores_add_up_to_the_slope_of_the_likelihood(reasons, groups):
    courses, _ = draw(2, 60, 10, reasons=reasons, groups=groups)
    row = to_row(begin(courses)) + np.random.default_rng(3).normal(
        0, 0.2, to_row(begin(courses)).shape
    )
    rates = from_row(row, courses.sizes)
    slope = differ(courses, row, lambda moved: count_days(courses, moved).log_likelihood)
    from_counts = slope_of_likelihood(courses, rates, count_days(courses, rates))
    blocks = expect(courses, rates)
    scores = sum(score_people(courses, rates, block).sum(axis=0) for block in blocks)
    np.testing.assert_allclose(from_counts, slope, rtol=1e-4, atol=1e-5)
    np.testing.assert_allclose(scores, slope, rtol=1e-4, atol=1e-5)


def test_the_slope_of_what_is_known_beforehand():
    courses, _ = draw(4, 40, 8)
    prior = replace(courses.prior, ends=2.0, natural=np.array([0.1]), jump=np.array([0.0, 0.2]))
    courses = replace(courses, prior=prior)
    row = to_row(begin(courses)) + 0.3
    slope = differ(courses, row, lambda moved: believe(courses, moved).value)
    belief = believe(courses, from_row(row, courses.sizes))
    np.testing.assert_allclose(belief.slope, slope, rtol=1e-5, atol=1e-7)


def test_what_is_certain_and_what_is_at_its_end_is_not_moved():
    courses, _ = draw(5, 20, 5)
    courses = replace(
        courses, prior=replace(courses.prior, tests=np.inf, appointments=np.inf, others=0.0)
    )
    places = list_parameters(courses.sizes)
    row = to_row(replace(begin(courses), leaving=np.array([0.0, 0.01])))
    row[places["chosen"]] = LOWEST, HIGHEST
    outwards = np.zeros(len(row))
    outwards[places["chosen"]] = -1.0, 1.0
    free = find_free(row, outwards, courses)
    for name in ("keeping", "showing", "chosen"):
        assert not free[places[name]].any(), name
    np.testing.assert_array_equal(free[places["leaving"]], [False, True])
    assert free[places["natural"]].all()
    assert free[places["planned"]].all()
    assert find_free(row, -outwards, courses)[places["chosen"]].all()
    held = fit_hidden_end(courses).rates
    np.testing.assert_allclose(held.showing, [1 - prior_of(courses)[1], prior_of(courses)[0]])
    assert held.keeping[0] == pytest.approx(1)


def prior_of(courses: Courses) -> tuple[float, float]:
    return courses.prior.sensitivity, courses.prior.specificity


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
