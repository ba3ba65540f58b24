"""The tables of the model of a hidden state: codes that tell days apart, and probabilities."""

from dataclasses import replace

import numpy as np

from pipeline.statistics.hidden_end_model import (
    Rates,
    Sizes,
)
from tests.unit.statistics.simulated_courses import draw


def test_days_that_differ_have_different_codes():
    courses, _ = draw(1, 200, 20, reasons=True, groups=(1.0, 2.0))
    parts = [np.broadcast_to(courses.group[:, None], courses.habit.shape)]
    parts += [courses.natural_class, courses.jump_class]
    ends = {tuple(values) for values in zip(*(part.ravel() for part in parts), strict=True)}
    assert len(ends) == len(np.unique(courses.end_code))
    parts = courses.habit, courses.coming, courses.result, courses.report
    seen = {tuple(values) for values in zip(*(part.ravel() for part in parts), strict=True)}
    assert len(seen) == len(np.unique(courses.seen_code))


def test_people_who_are_kept_keep_the_numbers_of_their_rates():
    courses, _ = draw(2, 50, 10)
    courses = replace(courses, sizes=Sizes(4, 6, 9))
    kept = courses.keep(np.arange(50) < 10)
    assert kept.sizes == courses.sizes
    np.testing.assert_array_equal(kept.end_code, courses.end_code[:, :10])
    np.testing.assert_array_equal(kept.seen_code, courses.seen_code[:, :10])


def test_rates_of_ends_follow_the_codes():
    courses, _ = draw(3, 50, 10, groups=(1.0, 2.0))
    rates = Rates(
        np.array([0.1]),
        np.array([0.0, 0.4]),
        *(np.full(n, 0.5) for n in (5, 2, 2, 2, 2, 1, 2)),
        np.array([1.0, 2.0]),
    )
    natural, jump = rates.of_ends()
    strength = rates.multiplier[courses.group][:, None]
    np.testing.assert_allclose(natural[courses.end_code].T, 0.1 * strength + 0 * courses.habit)
    np.testing.assert_allclose(jump[courses.end_code].T, 0.4 * strength * courses.jump_class)
