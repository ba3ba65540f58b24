"""Slopes of the likelihood of a hidden state that ends, and what is known of it beforehand.

The model is that of pipeline/statistics/hidden_end_model.py. Parameters stand in one row, on the
scale on which errors are even: logarithms of rates, log-odds of probabilities. A person's score is
the expected score of the complete data given what was seen (Fisher's identity; Louis TA. J R Stat
Soc B 1982;44:226-233, from memory).
"""

from collections.abc import Iterator
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
    Sizes,
    begin,
)
from pipeline.statistics.hidden_end_sums import Expected, expect

HABIT_DAYS = 1.0  # days of exposure by which a habit is drawn to the rate of tests in all
REPORT_PRIOR = 0.5  # of a report, on each side, by which reports are kept from 0 and 1
LOWEST, HIGHEST = -18.0, 3.0  # logarithms of rates: beyond, a rate is none, or the day is certain
FARTHEST = 30.0  # log-odds beyond which nothing changes
PROBABILITIES = ("showing", "telling", "returning")


def list_parameters(sizes: Sizes) -> dict[str, slice]:
    """List which places of a row hold which parameters.

    Those that are fixed are left out: the jump of nothing done, appointments in the state, and the
    multiplier where there are no groups.
    """
    numbers = {
        "natural": sizes.natural,
        "jump": sizes.jump - 1,
        "planned": sizes.habits,
        "keeping": 1,
        "chosen": 2,
        "showing": 2,
        "telling": 2,
        "returning": 1,
        "leaving": 2,
        "multiplier": sizes.compared,
    }
    ends = np.cumsum(list(numbers.values()))
    return {name: slice(end - numbers[name], end) for name, end in zip(numbers, ends, strict=True)}


def to_row(rates: Rates) -> np.ndarray:
    """Put all parameters in a row.

    Parameters
    ----------
    rates
        The parameters.

    Returns
    -------
    np.ndarray
        As list_parameters says; a rate of 0 stands as minus infinity.
    """
    return np.concatenate(
        [
            _log_odds(values) if name in PROBABILITIES else _logarithm(values)
            for name, values in _select(rates)
        ]
    )


def from_row(row: np.ndarray, sizes: Sizes) -> Rates:
    """Read the parameters from a row as to_row makes one."""
    parts = {}
    for name, places in list_parameters(sizes).items():
        values = row[places]
        if name in PROBABILITIES:
            parts[name] = 1 / (1 + np.exp(-np.clip(values, -FARTHEST, FARTHEST)))
        else:
            parts[name] = np.where(
                np.isneginf(values), 0.0, np.exp(np.clip(values, LOWEST, HIGHEST))
            )
    parts["jump"] = np.r_[0.0, parts["jump"]]
    parts["keeping"] = np.r_[parts["keeping"], 1.0]
    if not sizes.compared:
        parts["multiplier"] = np.ones(1)
    return Rates(**parts)


def find_free(row: np.ndarray, slope: np.ndarray, courses: Courses) -> np.ndarray:
    """Mark parameters of a row that a search may move.

    Not moved are rates of 0, what is known for certain, and rates at their end: LOWEST or HIGHEST,
    where the slope of what is to be raised points beyond.
    """
    free = np.isfinite(row)
    at_end = ((row <= LOWEST) & (slope < 0)) | ((row >= HIGHEST) & (slope > 0))
    certain = {
        "keeping": np.isinf(courses.prior.appointments),
        "showing": np.isinf(courses.prior.tests),
    }
    for name, places in list_parameters(courses.sizes).items():
        free[places] &= not certain.get(name, False)
        free[places] &= (name in PROBABILITIES) | ~at_end[places]
    return free


def _select(rates: Rates) -> Iterator[tuple[str, np.ndarray]]:
    """The names and values of the parameters of a row, in its order."""
    for name in Rates.__dataclass_fields__:
        values = getattr(rates, name)
        if name == "jump":
            values = values[1:]
        elif name == "keeping":
            values = values[:1]
        elif name == "multiplier" and len(values) == 1:
            values = values[:0]
        yield name, values


def _logarithm(rate: np.ndarray) -> np.ndarray:
    return np.log(rate, where=rate > 0, out=np.full(rate.shape, -np.inf))


def _log_odds(probability: np.ndarray) -> np.ndarray:
    return np.log(probability / (1 - probability))


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


@dataclass(frozen=True)
class Belief:
    """What is known beforehand, as if it had been counted.

    Attributes
    ----------
    value
        What is added to the log-likelihood.
    slope
        Its gradient, as list_parameters says.
    number
        Of how many events each parameter is known; of a probability times its variance. One that is
        known of infinitely many is not estimated.
    """

    value: float
    slope: np.ndarray
    number: np.ndarray


def believe(courses: Courses, rates: Rates) -> Belief:
    """Weigh parameters by what is known beforehand.

    Rates have gamma priors of a events, of which the logarithm of a rate r is likeliest at m:
    a (log r - r / m). Probabilities p have beta priors of b events around q:
    b (q log p / q + (1 - q) log (1 - p) / (1 - q)).

    Parameters
    ----------
    courses
        What was seen, and the prior.
    rates
        The parameters.

    Returns
    -------
    Belief
        Of these parameters.
    """
    prior, usual = courses.prior, begin(courses)
    tests = np.array([1 - prior.specificity, prior.sensitivity])
    test_rate = max(courses.test_rate, SMALLEST_RATE**2)
    events = {
        "natural": (prior.ends, usual.natural),
        "jump": (prior.ends, usual.jump[1:]),
        "planned": (HABIT_DAYS * test_rate, test_rate),
        "keeping": (prior.appointments, 1.0),
        "chosen": (prior.others, usual.chosen),
        "showing": (prior.tests, tests),
        "telling": (2 * REPORT_PRIOR, 0.5),
        "returning": (2 * REPORT_PRIOR, 0.5),
        "leaving": (prior.others, usual.leaving),
    }
    value, slopes, numbers = 0.0, [], []
    for name, values in _select(rates):
        weight, centre = events.get(name, (0.0, 1.0))
        numbers.append(np.full(len(values), weight))
        if np.isinf(weight):
            slopes.append(np.zeros(len(values)))
        elif name in PROBABILITIES:
            more = values - centre
            yes = centre * np.log1p(more / centre)
            value += weight * (yes + (1 - centre) * np.log1p(-more / (1 - centre))).sum()
            slopes.append(weight * (centre - values))
            numbers[-1] = weight * values * (1 - values)
        else:
            held = np.maximum(values, np.exp(LOWEST))
            value += weight * (np.log(held) - held / centre + (name == "keeping")).sum()
            slopes.append(weight * (1 - held / centre))
    return Belief(float(value), np.concatenate(slopes), np.concatenate(numbers))
