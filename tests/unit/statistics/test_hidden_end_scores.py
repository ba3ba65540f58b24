"""Slopes of the likelihood, by counts and by person, against finite differences."""

import numpy as np
import pytest

from pipeline.statistics.hidden_end_model import begin
from pipeline.statistics.hidden_end_parameters import from_row, to_row
from pipeline.statistics.hidden_end_scores import count_days, score_people, slope_of_likelihood
from pipeline.statistics.hidden_end_sums import expect
from tests.unit.statistics.differences import differ
from tests.unit.statistics.simulated_courses import draw


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
