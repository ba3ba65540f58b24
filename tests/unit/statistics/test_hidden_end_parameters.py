"""Parameters in a row, which of them a search may move, and what is known of them beforehand."""

from dataclasses import fields, replace

import numpy as np
import pytest

from pipeline.statistics.hidden_end import fit_hidden_end
from pipeline.statistics.hidden_end_model import Rates, begin
from pipeline.statistics.hidden_end_parameters import (
    HIGHEST,
    LOWEST,
    believe,
    find_free,
    from_row,
    list_parameters,
    to_row,
)
from tests.unit.statistics.differences import differ
from tests.unit.statistics.simulated_courses import draw


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
    prior = courses.prior
    np.testing.assert_allclose(held.showing, [1 - prior.specificity, prior.sensitivity])
    assert held.keeping[0] == pytest.approx(1)
