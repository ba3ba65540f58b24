"""What a fit of a hidden end predicts of each day, beside what was seen.

The model is that of pipeline/statistics/hidden_end_model.py. Each day is predicted from what was
seen on the days before it, by forward sums (one day ahead:
Dawid AP. J R Stat Soc A 1984;147:278-292, from memory): that a test comes; that it is positive,
once it has come; that a report is "yes", once somebody was asked and the test of that day is known.
Were the rates true, what is seen less what is predicted would be a martingale difference, however
tests, sessions and habits hang on the days before. So in any cell of days of people the sum of the
differences has mean 0 and variance the sum of p (1 - p), and sums of different cells are not
correlated.

Habits of planned tests are estimated from a few days each, which takes up part of the differences:
with D the derivative of what is expected in a cell by the logarithm of a habit's rate, and I the
information of that logarithm, D^2 / I of the variance (Pierce DA. Ann Stat 1982;10:475-478, from
memory). All other rates are taken as known, which makes differences look somewhat smaller against
chance than they are.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.statistics.hidden_end_model import (
    CHOSEN,
    IN,
    LATE_NEGATIVE,
    LATE_POSITIVE,
    NO_TEST,
    NOT_SEEN,
    OUT,
    PLANNED,
    POSITIVE,
    SEEN,
    SMALLEST_RATE,
    TESTED,
    UNWATCHED,
    Courses,
    Rates,
)

NO_CELL = -1
NOTHING = 0  # no result, no report, as the tables number them


@dataclass(frozen=True)
class Predicted:
    """Probabilities of each day given all days before it, (n, H).

    Attributes
    ----------
    tested
        That a test comes; 0 where none could.
    slope
        Its derivative by the logarithm of the rate of planned tests of the day's habit.
    score
        The derivative, by the same, of the log-probability of what came.
    positive
        That a test is positive, given that it came, and why where that is known.
    yes
        That a report is "yes", given the test of that day, or that there was none.
    """

    tested: np.ndarray
    slope: np.ndarray
    score: np.ndarray
    positive: np.ndarray
    yes: np.ndarray


@dataclass(frozen=True)
class Compared:
    """What was seen beside what was expected, by cell.

    Attributes
    ----------
    seen, expected
        Numbers of days.
    variance
        Of their difference, were the model right.
    """

    seen: np.ndarray
    expected: np.ndarray
    variance: np.ndarray

    @property
    def deviation(self) -> np.ndarray:
        """(seen - expected) / sqrt(variance); NaN without variance."""
        free = self.variance > 0
        return np.where(
            free, (self.seen - self.expected) / np.sqrt(np.where(free, self.variance, 1)), np.nan
        )


def predict(courses: Courses, rates: Rates) -> Predicted:
    """Predict each day of each person from the days before it.

    Parameters
    ----------
    courses
        What was seen.
    rates
        The parameters.

    Returns
    -------
    Predicted
        Probabilities, (n, H).
    """
    n, days = courses.coming.shape
    natural, jump = rates.of_ends()
    outlast = np.exp(-(natural + jump))[courses.end_code]
    leave = -np.expm1(-rates.leaving)[:, None, None] * courses.watched
    of_seen = rates.of_seen().reshape(2, len(rates.planned), *SEEN)
    of_coming, by_habit = of_seen[:, :, :, NOTHING, NOTHING], _slopes_of_coming(rates)
    tested, slope, score, positive, yes = (np.zeros((days, n)) for _ in range(5))
    there, gone = np.zeros((2, n)), np.zeros((2, n))
    there[IN] = 1.0
    for k in range(days):
        habit, coming = courses.habit[:, k], courses.coming[:, k]
        result, report = courses.result[:, k], courses.report[:, k]
        for place in (there, gone):
            ends = place[IN] * (1 - outlast[k])
            place[IN] -= ends
            place[OUT] += ends
        leaves = there * leave[:, k]
        there, gone = there - leaves, gone + leaves
        watched = courses.watched[k]
        tested[k] = watched * (there * of_coming[:, habit, TESTED]).sum(axis=0)
        slope[k] = watched * (there * by_habit[:, habit, TESTED]).sum(axis=0)
        moved = (there * by_habit[:, habit, coming]).sum(axis=0)
        there = there * of_coming[:, habit, coming]
        gone = gone * (coming <= NO_TEST)
        score[k] = moved / (there + gone).sum(axis=0)
        late = result >= LATE_NEGATIVE
        shown = of_seen[:, habit, UNWATCHED, np.where(late, LATE_POSITIVE, POSITIVE) + 1, NOTHING]
        positive[k] = _average(there, shown)
        there = there * of_seen[:, habit, UNWATCHED, result + 1, NOTHING]
        yes[k] = _average(there, of_seen[:, habit, UNWATCHED, NOTHING, -1])
        there = there * of_seen[:, habit, UNWATCHED, NOTHING, report + 1]
        gone = gone * (report == NOT_SEEN)
        total = (there + gone).sum(axis=0)
        there, gone = there / total, gone / total
    return Predicted(tested.T, slope.T, score.T, positive.T, yes.T)


def _average(there: np.ndarray, probability: np.ndarray) -> np.ndarray:
    """A probability of who is there, by state, over both states."""
    return (there * probability).sum(axis=0) / np.maximum(there.sum(axis=0), SMALLEST_RATE)


def _slopes_of_coming(rates: Rates) -> np.ndarray:
    """Derivatives of the probability of what comes, by the logarithm of the rate of planned tests.

    (2, habits, what comes).
    """
    planned, chosen = rates.of_tests()
    rate = np.maximum(planned + chosen, SMALLEST_RATE)
    none, part = np.exp(-rate), planned / rate
    slope = np.zeros((*rate.shape, SEEN[0]))
    slope[..., NO_TEST], slope[..., TESTED] = -none * planned, none * planned
    # the part of planned tests among all grows by part (1 - part)
    shift = (1 - none) * part * (1 - part)
    slope[..., PLANNED] = slope[..., TESTED] * part + shift
    slope[..., CHOSEN] = slope[..., TESTED] * (1 - part) - shift
    return np.moveaxis(slope, 1, 0)


def compare_tests(
    courses: Courses, predicted: Predicted, cell: np.ndarray, number: int
) -> Compared:
    """Compare the days with a test with those that were expected.

    Parameters
    ----------
    courses
        What was seen.
    predicted
        What was to be expected.
    cell
        The cell of each day of each person, or NO_CELL, (n, H).
    number
        How many cells there are.

    Returns
    -------
    Compared
        Of days on which a test could come; the variance is without what the habits take up.
    """
    watched = courses.coming != UNWATCHED
    plain = _sum_up(watched, courses.coming > NO_TEST, predicted.tested, cell, number)
    n_habits = courses.sizes.habits
    counted = watched & (cell != NO_CELL)
    code = cell[counted] * n_habits + courses.habit[counted]
    slope = np.bincount(code, predicted.slope[counted], number * n_habits)
    information = _tell_habits(courses, predicted)
    taken = slope.reshape(number, n_habits) ** 2 / np.maximum(information, SMALLEST_RATE)
    variance = np.maximum(plain.variance - taken.sum(axis=1), 0)
    return Compared(plain.seen, plain.expected, variance)


def _tell_habits(courses: Courses, predicted: Predicted) -> np.ndarray:
    """The information of the logarithm of each habit's rate.

    That of whether tests came, or by squared scores, which know of reasons, where that is more.
    """
    watched = courses.coming != UNWATCHED
    p = predicted.tested[watched]
    of_days = predicted.slope[watched] ** 2 / np.maximum(p * (1 - p), SMALLEST_RATE)
    expected, seen = (
        np.bincount(courses.habit[watched], each, courses.sizes.habits)
        for each in (of_days, predicted.score[watched] ** 2)
    )
    return np.maximum(expected, seen)


def compare_positive(
    courses: Courses, predicted: Predicted, cell: np.ndarray, number: int
) -> Compared:
    """Compare positive tests with those that were expected among the tests that came.

    Parameters and returns are those of `compare_tests`; nothing is taken off the variance.
    """
    happened = np.isin(courses.result, (POSITIVE, LATE_POSITIVE))
    return _sum_up(courses.result != NOT_SEEN, happened, predicted.positive, cell, number)


def compare_reports(
    courses: Courses, predicted: Predicted, cell: np.ndarray, number: int
) -> Compared:
    """Compare reports of "yes" with those that were expected among those who were asked.

    Parameters and returns are those of `compare_tests`; nothing is taken off the variance.
    """
    return _sum_up(courses.report != NOT_SEEN, courses.report == 1, predicted.yes, cell, number)


def _sum_up(
    judged: np.ndarray, happened: np.ndarray, probability: np.ndarray, cell: np.ndarray, number: int
) -> Compared:
    """Sums over the days that are `judged` and in a cell."""
    counted = judged & (cell != NO_CELL)
    p, cells = probability[counted], cell[counted]
    sums = (np.bincount(cells, part, number) for part in (happened[counted], p, p * (1 - p)))
    return Compared(*sums)
