"""Forward and backward sums against all ends and all days of leaving counted out."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from pipeline.statistics.hidden_end import find_weights
from pipeline.statistics.hidden_end_model import (
    CHOSEN,
    NO_TEST,
    NOT_SEEN,
    PLANNED,
    UNWATCHED,
    Rates,
)
from pipeline.statistics.hidden_end_sums import expect, expect_until
from tests.published.hidden_end_cases import count_out_end
from tests.unit.statistics.simulated_courses import draw

RATES = Rates(
    np.array([0.1]),
    np.array([0.0, 0.4]),
    np.array([0.1, 0.9, 0.2, 0.8, 0.05]),
    np.array([0.6, 1.0]),
    np.array([0.02, 0.3]),
    np.array([0.03, 0.9]),
    np.array([0.2, 0.8]),
    np.array([0.15]),
    np.array([0.05, 0.02]),
    np.array([0.7, 1.5]),
)


@pytest.mark.parametrize("reasons", [False, True])
def test_the_likelihood_is_that_of_all_ends_counted_out(reasons):
    courses, _ = draw(1, 12, 4, reasons=reasons, groups=(0.7, 1.5))
    coming, result = courses.coming.copy(), courses.result.copy()
    coming[0, 2:] = UNWATCHED
    result[2:7, 2:] = np.where(result[2:7, 2:] == NOT_SEEN, NOT_SEEN, result[2:7, 2:] + 2)  # late
    courses = replace(courses, coming=coming, result=result)
    weight = find_weights(courses, RATES)
    logs = np.concatenate([expected.log_seen for expected in expect(courses, RATES)])
    for person in range(12):
        each = [count_out_end(courses, RATES, person, end) for end in range(1, 6)]
        assert logs[person] == pytest.approx(np.log(sum(each)))
        np.testing.assert_allclose(weight[person], np.array(each) / sum(each))


def test_what_may_come_on_a_day_has_probability_one():
    """Where everybody is asked too, and nobody leaves."""
    courses, _ = draw(1, 1, 1, groups=(1.0, 1.0))
    rates = replace(RATES, leaving=np.zeros(2))
    ways = [(NO_TEST, NOT_SEEN, 0), (NO_TEST, NOT_SEEN, 1)]
    ways += list(itertools.product((PLANNED, CHOSEN), (0, 1), (0, 1)))
    total = 0.0
    for coming, result, report in ways:
        day = replace(
            courses,
            coming=np.array([[coming]]),
            result=np.array([[result]]),
            report=np.array([[report]]),
        )
        total += np.exp(next(expect(day, rates)).log_seen[0])
    assert total == pytest.approx(1)


@pytest.mark.parametrize("until", [1, 3, 4])
def test_courses_that_end_by_a_day_are_counted_alone(until):
    courses, _ = draw(3, 20, 4, groups=(0.7, 1.5))
    [(whole, part)] = expect_until(courses, RATES, (until,))
    np.testing.assert_allclose(whole.weight, 1)
    np.testing.assert_allclose(part.weight, whole.ended[:until].sum(axis=0))
    np.testing.assert_allclose(part.ended[:until], whole.ended[:until], atol=1e-15)
    assert (part.ended[until:] == 0).all()
    assert (part.there[1][until - 1 :] == 0).all()  # in the state from that day on
    total = part.there[0][-1] + part.left[0].sum(axis=0) + part.left[1].sum(axis=0)
    np.testing.assert_allclose(total, part.weight)  # there, or left on one of the days


def test_of_each_day_people_are_in_one_place():
    courses, _ = draw(4, 50, 12, groups=(0.7, 1.5))
    [expected] = expect(courses, RATES)
    gone = (expected.left[0] + expected.left[1]).cumsum(axis=0)
    np.testing.assert_allclose(expected.there[0] + expected.there[1] + gone, 1)
    np.testing.assert_allclose(expected.ended.cumsum(axis=0) + expected.outlasted, 1)
