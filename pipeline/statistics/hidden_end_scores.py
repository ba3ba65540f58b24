"""Slopes of the likelihood of a hidden state that ends, by its parameters.

The model is that of pipeline/statistics/hidden_end_model.py, the parameters are those of
pipeline/statistics/hidden_end_parameters.py. A person's score is the expected score of the complete
data given what was seen (Fisher's identity; Louis TA. J R Stat Soc B 1982;44:226-233, from memory).
"""

from dataclasses import dataclass

import numpy as np

from pipeline.statistics.hidden_end_model import (
    CHOSEN,
    IN,
    NO_TEST,
    OUT,
    PLANNED,
    SEEN,
    SEEN_PER_HABIT,
    SMALLEST_RATE,
    TESTED,
    Courses,
    Rates,
)
from pipeline.statistics.hidden_end_sums import Expected, expect


@dataclass(frozen=True)
class Counts:
    """Expected numbers of days, given all that was seen.

    Attributes
    ----------
    ended, outlasted
        By end_code: days on which the state ended, and which it outlasted.
    seen
        By seen_code: days of who was there, out of the state and in it, (2, codes).
    left, stayed
        How many left, and on how many days others did not (out, in).
    log_likelihood
        Of all that was seen.
    """

    ended: np.ndarray
    outlasted: np.ndarray
    seen: np.ndarray
    left: np.ndarray
    stayed: np.ndarray
    log_likelihood: float


def count_days(courses: Courses, rates: Rates) -> Counts:
    """Count the days that are to be expected.

    Parameters
    ----------
    courses
        What was seen.
    rates
        The parameters.

    Returns
    -------
    Counts
        Over all people.
    """
    n_ends = len(rates.multiplier) * len(rates.natural) * len(rates.jump)
    n_seen = len(rates.planned) * SEEN_PER_HABIT
    ended, outlasted, value = np.zeros(n_ends), np.zeros(n_ends), 0.0
    seen, left, stayed = np.zeros((2, n_seen)), np.zeros(2), np.zeros(2)
    for expected in expect(courses, rates):
        ends = courses.end_code[:, expected.rows].ravel()
        codes = courses.seen_code[:, expected.rows].ravel()
        watched = courses.watched[:, expected.rows]
        ended += np.bincount(ends, expected.ended.ravel(), n_ends)
        outlasted += np.bincount(ends, expected.outlasted.ravel(), n_ends)
        for state in (OUT, IN):
            there = expected.there[state]
            seen[state] += np.bincount(codes, there.ravel(), n_seen)
            left[state] += expected.left[state].sum()
            stayed[state] += (there * watched).sum()
        value += expected.log_seen.sum()
    return Counts(ended, outlasted, seen, left, stayed, float(value))


def slope_of_likelihood(courses: Courses, rates: Rates, counts: Counts) -> np.ndarray:
    """Find the gradient of the log-likelihood, the sum of all scores, from counts alone.

    Parameters
    ----------
    courses
        What was seen.
    rates, counts
        The parameters, and the days that are to be expected with them.

    Returns
    -------
    np.ndarray
        As list_parameters says.
    """
    natural, jump = rates.of_ends()
    shape = len(rates.multiplier), len(rates.natural), len(rates.jump)
    rate = np.maximum(natural + jump, SMALLEST_RATE)
    excess = counts.ended / np.expm1(rate) - counts.outlasted
    by_natural, by_jump = ((excess * part).reshape(shape) for part in (natural, jump))
    of_planned, of_others = _slopes_of_seen(rates)
    seen = counts.seen.reshape(2, len(rates.planned), *SEEN).sum((3, 4))
    keeping, chosen, showing, telling, returning = (of_others * counts.seen).sum(axis=2)
    return np.concatenate(
        [
            by_natural.sum((0, 2)),
            by_jump.sum((0, 1))[1:],
            (seen * of_planned).sum((0, 2)),
            keeping[[OUT]],
            chosen,
            showing,
            telling,
            returning[[OUT]],
            _slope_of_leaving(rates, counts.left, counts.stayed),
            (by_natural + by_jump).sum((1, 2))[: courses.sizes.compared],
        ]
    )


def score_people(courses: Courses, rates: Rates, expected: Expected) -> np.ndarray:
    """Find the scores of a block of people, times the weight of what is expected.

    Parameters
    ----------
    courses
        What was seen.
    rates
        The parameters.
    expected
        What is to be expected of the block with them.

    Returns
    -------
    np.ndarray
        (people of the block, parameters as list_parameters says).
    """
    rows, sizes = expected.rows, courses.sizes
    by_natural, by_jump = _score_ends(courses, rates, expected)
    of_ends = _sum_by_class(courses.natural_class[rows], by_natural, sizes.natural)
    of_jumps = _sum_by_class(courses.jump_class[rows], by_jump, sizes.jump)[:, 1:]
    of_planned, of_others = _slopes_of_seen(rates)
    habit, coming = courses.habit[rows], courses.coming[rows]
    planned = sum(expected.there[state].T * of_planned[state, habit, coming] for state in (OUT, IN))
    codes = courses.seen_code[:, rows]
    keeping, chosen, showing, telling, returning = (
        np.stack(
            [(expected.there[state] * slope[state][codes]).sum(axis=0) for state in (OUT, IN)],
            axis=1,
        )
        for slope in of_others
    )
    watched = courses.watched[:, rows]
    stayed = [(expected.there[state] * watched).sum(axis=0) for state in (OUT, IN)]
    left = [expected.left[state].sum(axis=0) for state in (OUT, IN)]
    of_groups = np.zeros((len(habit), sizes.compared))
    if courses.group is not None and sizes.compared:
        of_groups[np.arange(len(habit)), courses.group[rows]] = (by_natural + by_jump).sum(axis=1)
    return np.concatenate(
        [
            of_ends,
            of_jumps,
            _sum_by_class(habit, planned, sizes.habits),
            keeping[:, [OUT]],
            chosen,
            showing,
            telling,
            returning[:, [OUT]],
            _slope_of_leaving(rates, np.stack(left, axis=1), np.stack(stayed, axis=1)),
            of_groups,
        ],
        axis=1,
    )


def score_single_days(courses: Courses, rates: Rates, expected: Expected) -> np.ndarray:
    """Find the scores of the natural rate of each single day, alike for all classes.

    Parameters
    ----------
    courses, rates, expected
        As for score_people.

    Returns
    -------
    np.ndarray
        (people of the block, H).
    """
    return _score_ends(courses, rates, expected)[0]


def _score_ends(
    courses: Courses, rates: Rates, expected: Expected
) -> tuple[np.ndarray, np.ndarray]:
    """What came less what was to be expected, by the natural rate and the jump, (people, H)."""
    ends = courses.end_code[:, expected.rows]
    natural, jump = rates.of_ends()
    rate = np.maximum(natural + jump, SMALLEST_RATE)
    excess = expected.ended / np.expm1(rate)[ends] - expected.outlasted
    return (excess * natural[ends]).T, (excess * jump[ends]).T


def _slope_of_leaving(rates: Rates, left: np.ndarray, stayed: np.ndarray) -> np.ndarray:
    leaving = np.maximum(rates.leaving, SMALLEST_RATE)
    return leaving * (left / np.expm1(leaving) - stayed)


def _slopes_of_seen(rates: Rates) -> tuple[np.ndarray, np.ndarray]:
    """Derivatives of the log-probability of what was seen on a day.

    By the logarithm of the planned rate: (states, habits, what came). By the logarithms of keeping
    appointments and of the chosen rate, and the log-odds of a positive test, of a report of
    symptoms, and of a late positive test of who is out of the state: (5, states, seen_codes).
    """
    n_habits = len(rates.planned)
    planned, chosen = rates.of_tests()
    rate = np.maximum(planned + chosen, SMALLEST_RATE)
    coming = np.zeros((2, n_habits, SEEN[0], 2))
    for k, (part, reason) in enumerate(((planned, PLANNED), (chosen, CHOSEN))):
        coming[k, :, NO_TEST] = -part
        coming[k, :, TESTED] = part / np.expm1(rate)
        for told in (PLANNED, CHOSEN):
            coming[k, :, told] = coming[k, :, TESTED] - part / rate + (told == reason)
    of_planned = np.moveaxis(coming[0], -1, 0).copy()
    coming[0, :, :, IN] = 0.0  # in the state all appointments are those of the habit
    none, shown, told = np.zeros(2), rates.showing, rates.telling
    late = np.stack([none, none, none, -shown, 1 - shown])
    late[:, OUT] = 0.0
    result = np.stack([none, -shown, 1 - shown, none, none]) + late
    again = np.zeros((SEEN[1], 2))
    again[3:, OUT] = -rates.returning[0], 1 - rates.returning[0]
    table = np.zeros((5, n_habits, *SEEN, 2))
    table[:2] = coming[:, :, :, None, None, :]
    table[2] = result[:, None, :]
    table[3] = np.stack([none, -told, 1 - told])
    table[4] = again[:, None, :]
    return of_planned, np.moveaxis(table, -1, 1).reshape(5, 2, n_habits * SEEN_PER_HABIT)


def _sum_by_class(classes: np.ndarray, values: np.ndarray, number: int) -> np.ndarray:
    """The sums of each person's values by class, (n, number)."""
    n = len(classes)
    code = np.arange(n)[:, None] * number + classes
    return np.bincount(code.ravel(), values.ravel(), n * number).reshape(n, number)
