"""How well a fit of pipeline/statistics/hidden_end.py knows what it says.

It is told by scores of people, the information that they give, and each person's influence on a
share.

Scores are on the scale on which errors are even: logarithms of rates, log-odds of probabilities. A
person's score is the expected score of the complete data given what was seen (Fisher's identity;
Louis TA. J R Stat Soc B 1982;44:226-233, from memory), and the information J the sum of its squares
plus the curvature of the priors. With P(i) the probability that person i's state had ended by a day
and g the gradient of their sum, the influence of person i on the share is

    P(i) - share + g' J^-1 score(i),

and the variance of the share the mean square of these over n (the sandwich; people are taken to be
independent here, sites are not told apart). Habits of planned tests are taken as known. They are
many, of few days each, and would explain scores by luck: in a simulated pool of 1,500 people of 12
sites standard errors of the sites' multipliers came out up to 2.6 times those by second
derivatives of the likelihood in all parameters; without habits within a seventh.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.statistics.hidden_end import REPORT_PRIOR, HiddenEnd
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
from pipeline.statistics.hidden_end_sums import Expected, expect, expect_until

NULL = 1e-9  # an eigenvalue of the information, as a share of the largest, below which it is none
BLIND = 1e-6  # part of a squared gradient along directions without information: none above it


@dataclass(frozen=True)
class Knowledge:
    """What a fit knows of the shares of some groups of people by some days.

    Attributes
    ----------
    share
        The shares, (groups, days).
    effective, effective_freed
        Of how many people plain shares would be known as well, as the form of the model is and with
        the form freed, (groups, days).
    tests
        Of how many tests, of people out of the state and in it, what they show would be known as
        well, had nothing been known beforehand and the form freed.
    """

    share: np.ndarray
    effective: np.ndarray
    effective_freed: np.ndarray
    tests: np.ndarray


def know_shares(
    courses: Courses, fit: HiddenEnd, days: Sequence[int], groups: np.ndarray, spread: float
) -> Knowledge:
    """Find what is known of the shares of groups of people.

    With the form freed the logarithm of the natural rate may be off on each single day,
    independently of others and for everybody alike, by the standard deviation `spread`. What then
    is no longer known was known by the form alone.

    Parameters
    ----------
    courses
        What was seen.
    fit
        The fit.
    days
        Whole days, 1 to H.
    groups
        Who belongs to each group, (n, groups) of bool.
    spread
        Standard deviation of the logarithm of the natural rate of a day.

    Returns
    -------
    Knowledge
        An effective number is share (1 - share) / variance, and 0 where nothing tells the share.
    """
    scores, ended = [], []
    prior = _curvature(courses, fit.rates)
    n_single, number = len(courses.end_code), groups.sum(axis=0)
    gradient = np.zeros((len(days), groups.shape[1], len(prior) + n_single))
    for whole, *parts in expect_until(courses, fit.rates, tuple(days)):
        score = _score(courses, fit.rates, whole)
        for k, part in enumerate(parts):
            moved = _score(courses, fit.rates, part) - part.weight[:, None] * score
            gradient[k] += groups[whole.rows].T.astype(float) @ moved
        scores.append(score)
        ended.append(np.column_stack([part.weight for part in parts]))
    score, by_day = np.concatenate(scores), np.concatenate(ended)
    share = (groups.T.astype(float) @ by_day) / number[:, None]
    squares = score.T @ score
    effective = []
    for last, single in ((len(prior), 0), (len(prior) + n_single, n_single)):
        held = np.r_[prior, np.full(single, 1 / spread**2)]
        flat = gradient[:, :, :last].reshape(-1, last).T
        direction, blind = _solve(squares[:last, :last] + np.diag(held), flat)
        by_score = (score[:, :last] @ direction).reshape(len(score), len(days), -1)
        own = groups[:, None, :] * (by_day[:, :, None] - share.T)
        variance = ((own + by_score) ** 2).sum(axis=0) / number**2
        variance = np.where(blind.reshape(variance.shape), np.inf, variance)
        effective.append(share * (1 - share) / variance.T)
    tests = _count_tests(courses, fit.rates, squares + np.diag(held), len(prior))
    return Knowledge(share, effective[0], effective[1], tests)


def _count_tests(
    courses: Courses, rates: Rates, information: np.ndarray, n_parameters: int
) -> np.ndarray:
    """Of how many tests in each state what they show would be known as well.

    By all information but that of their prior: 1 / (p (1 - p) variance of the log-odds).
    """
    where = np.arange(n_parameters - 8, n_parameters - 6)  # before reports, late tests, leaving
    odds = rates.showing * (1 - rates.showing)
    information = information.copy()
    information[where, where] -= courses.prior.tests * odds
    direction, blind = _solve(information, np.eye(len(information))[:, where])
    variance = np.maximum(np.diag(direction[where]), SMALLEST_RATE)
    return np.where(blind, 0.0, 1 / (odds * variance))


def _solve(information: np.ndarray, gradients: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The inverse of the information times gradients, and which of these it does not reach."""
    values, vectors = np.linalg.eigh(information)
    known = values > NULL * values.max()
    parts = vectors.T @ gradients
    squared = (gradients**2).sum(axis=0)
    blind = (parts[~known] ** 2).sum(axis=0) > BLIND * np.maximum(squared, SMALLEST_RATE)
    return vectors[:, known] @ (parts[known] / values[known, None]), blind


def _score(courses: Courses, rates: Rates, expected: Expected) -> np.ndarray:
    """Expected scores of a block of people, times the weight of what is expected.

    One column a parameter in the order of _curvature, then natural rates of single days.
    """
    rows, sizes = expected.rows, courses.sizes
    ends, seen = courses.end_code[:, rows], courses.seen_code[:, rows]
    natural, jump = rates.of_ends()
    rate = np.maximum(natural + jump, SMALLEST_RATE)
    # of a rate: what came less what was to be expected
    excess = expected.ended / np.expm1(rate)[ends] - expected.outlasted
    by_natural, by_jump = (excess * natural[ends]).T, (excess * jump[ends]).T
    columns = [
        _sum_by_class(courses.natural_class[rows], by_natural, sizes.natural),
        _sum_by_class(courses.jump_class[rows], by_jump, sizes.jump)[:, 1:],
    ]
    for slope in _slopes_of_seen(rates):  # keeping, chosen, showing, telling, returning
        columns += [
            (expected.there[state] * slope[state][seen]).sum(axis=0)[:, None] for state in (OUT, IN)
        ]
    watched = courses.watched[:, rows]
    for state in (OUT, IN):
        leaving = max(rates.leaving[state], SMALLEST_RATE)
        came, stayed = expected.left[state], expected.there[state] * watched
        score = leaving * (came / np.expm1(leaving) - stayed)
        columns.append(score.sum(axis=0)[:, None])
    columns.append(by_natural)  # of single days, whatever the class
    return np.concatenate(columns, axis=1)


def _slopes_of_seen(rates: Rates) -> np.ndarray:
    """Derivatives of the log-probability of each seen_code, (5, 2, codes).

    By the logarithms of keeping appointments and of the chosen rate, and the log-odds of a positive
    test, of a report of symptoms, and of a late positive test of who is out of the state.
    """
    n_habits = len(rates.planned)
    planned, chosen = rates.of_tests()
    rate = np.maximum(planned + chosen, SMALLEST_RATE)
    coming = np.zeros((2, n_habits, SEEN[0], 2))
    for k, (part, own) in enumerate(((planned, PLANNED), (chosen, CHOSEN))):
        coming[k, :, NO_TEST] = -part
        coming[k, :, TESTED] = part / np.expm1(rate)
        for reason in (PLANNED, CHOSEN):
            coming[k, :, reason] = coming[k, :, TESTED] - part / rate + (reason == own)
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
    return np.moveaxis(table, -1, 1).reshape(5, 2, n_habits * SEEN_PER_HABIT)


def _curvature(courses: Courses, rates: Rates) -> np.ndarray:
    """What the priors add to the information, a number for each parameter."""
    prior = courses.prior
    ends = []
    for held, centre in ((rates.natural, prior.natural), (rates.jump, prior.jump)):
        mode = np.inf if centre is None else np.maximum(centre, SMALLEST_RATE)
        ends.append(prior.ends * held / mode)
    showing, telling = (p * (1 - p) for p in (rates.showing, rates.telling))
    return np.concatenate(
        [
            ends[0],
            ends[1][1:],
            np.array([prior.appointments * rates.keeping[OUT], 0.0]),
            np.zeros(2),
            prior.tests * showing,
            2 * REPORT_PRIOR * telling,
            2 * REPORT_PRIOR * rates.returning * (1 - rates.returning),
            np.zeros(3),  # late tests of who is in the state are of `showing`; leaving
        ]
    )


def _sum_by_class(classes: np.ndarray, values: np.ndarray, number: int) -> np.ndarray:
    """The sums of each person's values by class, (n, number)."""
    n = len(classes)
    code = np.arange(n)[:, None] * number + classes
    return np.bincount(code.ravel(), values.ravel(), n * number).reshape(n, number)


def know_multipliers(courses: Courses, fit: HiddenEnd) -> np.ndarray:
    """Find the covariance matrix of the logarithms of the groups' multipliers less their mean.

    It is by the information that is left for them once all other parameters are estimated too. What
    the other parameters explain of a group's scores by luck alone is given back: as many people's
    worth as the leverages of its people add up to.

    Parameters
    ----------
    courses
        What was seen.
    fit
        The fit.

    Returns
    -------
    np.ndarray
        (groups, groups).
    """
    blocks = expect(courses, fit.rates)
    prior, sizes = _curvature(courses, fit.rates), courses.sizes
    score = np.concatenate([_score(courses, fit.rates, block) for block in blocks])
    score = score[:, : len(prior)]
    of_ends = score[:, : sizes.natural + sizes.jump - 1].sum(axis=1)
    group = np.zeros(len(score), int) if courses.group is None else courses.group
    member = group[:, None] == np.arange(sizes.groups)
    of_groups = np.where(member, of_ends[:, None], 0.0)
    inverse, _ = _solve(score.T @ score + np.diag(prior), np.eye(len(prior)))
    between = score.T @ of_groups
    information = of_groups.T @ of_groups - between.T @ inverse @ between
    leverage = ((score @ inverse) * score).sum(axis=1)
    size = member.sum(axis=0)
    given_back = np.sqrt(size / (size - leverage @ member))
    information *= given_back[:, None] * given_back
    centre = np.eye(sizes.groups) - 1 / sizes.groups
    covariance, _ = _solve(centre @ information @ centre, centre)
    return centre @ covariance
