"""How well a fit of pipeline/statistics/hidden_end.py knows what it says.

It is told by scores of people, the information that they give, and each person's influence on a
share.

Scores are those of pipeline/statistics/hidden_end_scores.py, and the information J is the sum of
their squares and of what is known beforehand. With P(i) the probability that person i's state had
ended by a day and g the gradient of their sum, the influence of person i on the share is

    P(i) - share + g' J^-1 score(i),

and the variance of the share the mean square of these over n (the sandwich; people are taken to be
independent here, sites are not told apart). Habits of planned tests are taken as known. They are
many, of few days each, and would explain scores by luck: in a simulated pool of 1,500 people of 12
sites standard errors of the sites' multipliers came out up to 2.6 times those by second
derivatives of the likelihood in all parameters; without habits within a seventh.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from pipeline.statistics.hidden_end import HiddenEnd
from pipeline.statistics.hidden_end_model import SMALLEST_RATE, Courses, Rates
from pipeline.statistics.hidden_end_parameters import believe, from_row, list_parameters, to_row
from pipeline.statistics.hidden_end_scores import score_people, score_single_days
from pipeline.statistics.hidden_end_sums import Expected, expect, expect_until

NULL = 1e-9  # an eigenvalue of the information, as a share of the largest, below which it is none
MOST_MOVED = 3.0  # of a parameter without a cluster: twentyfold is as good as any more
BLIND = 1e-6  # part of a squared gradient along directions without information: none above it


class Knowledge(NamedTuple):
    """What a fit knows of sums of the shares of some groups of people by some days.

    Attributes
    ----------
    value
        The sums, (groups, sums).
    error
        Their standard errors, people being independent, (groups, sums).
    effective, effective_freed
        Of how many people the same sums of plain shares would be known as well, as the form of the
        model is and with the form freed, (groups, sums).
    tests
        Of how many tests, of people out of the state and in it, what they show would be known as
        well, had nothing been known beforehand and the form freed.
    """

    value: np.ndarray
    error: np.ndarray
    effective: np.ndarray
    effective_freed: np.ndarray
    tests: np.ndarray


def know_shares(
    courses: Courses, fit: HiddenEnd, days: Sequence[int], groups: np.ndarray, spread: float
) -> Knowledge:
    """Find what is known of the shares of groups of people by each of some days.

    It is what know_sums finds of these shares alone, one by one.

    Parameters
    ----------
    courses, fit, groups, spread
        As in know_sums.
    days
        Whole days, 1 to H.

    Returns
    -------
    Knowledge
        Of each share; its effective number is share (1 - share) / variance.
    """
    alone = np.zeros((len(days), max(days)))
    alone[np.arange(len(days)), np.asarray(days) - 1] = 1
    return know_sums(courses, fit, alone, groups, spread)


def know_sums(
    courses: Courses, fit: HiddenEnd, sums: np.ndarray, groups: np.ndarray, spread: float
) -> Knowledge:
    """Find what is known of sums of the shares of groups of people by the days.

    With the form freed the logarithm of the natural rate may be off on each single day,
    independently of others and for everybody alike, by the standard deviation `spread`. What then
    is no longer known was known by the form alone.

    Parameters
    ----------
    courses
        What was seen.
    fit
        The fit.
    sums
        The weight of the share by each day from 1 on in each sum, (sums, days).
    groups
        Who belongs to each group, or with which weight, (n, groups).
    spread
        Standard deviation of the logarithm of the natural rate of a day.

    Returns
    -------
    Knowledge
        An effective number is the variance of one person's sum over that of the mean, and 0 where
        nothing tells the sum.
    """
    scores, ended = [], []
    prior = believe(courses, fit.rates).number[_mark_estimated(courses)]
    n_single, number = len(courses.end_code), groups.sum(axis=0)
    days = np.flatnonzero(sums.any(axis=0))
    weight = sums[:, days]
    gradient = np.zeros((len(sums), groups.shape[1], len(prior) + n_single))
    for whole, *parts in expect_until(courses, fit.rates, tuple(days + 1)):
        score = _score(courses, fit.rates, whole)
        for k, part in enumerate(parts):
            moved = _score(courses, fit.rates, part) - part.weight[:, None] * score
            of_groups = groups[whole.rows].T.astype(float) @ moved
            for j in np.flatnonzero(weight[:, k]):
                gradient[j] += weight[j, k] * of_groups
        scores.append(score)
        ended.append(np.column_stack([part.weight for part in parts]))
    score, by_day = np.concatenate(scores), np.concatenate(ended)
    share = (groups.T.astype(float) @ by_day) / number[:, None]
    value, by_person = share @ weight.T, by_day @ weight.T
    # of two days the share by both is that by the earlier one
    joint = np.minimum(share[:, :, None], share[:, None, :]) - share[:, :, None] * share[:, None, :]
    spread_out = np.einsum("sj,gjk,sk->gs", weight, joint, weight)
    squares = score.T @ score
    variances = []
    for last, single in ((len(prior), 0), (len(prior) + n_single, n_single)):
        held = np.r_[prior, np.full(single, 1 / spread**2)]
        flat = gradient[:, :, :last].reshape(-1, last).T
        direction, blind = _solve(squares[:last, :last] + np.diag(held), flat)
        by_score = (score[:, :last] @ direction).reshape(len(score), len(sums), -1)
        own = groups[:, None, :] * (by_person[:, :, None] - value.T)
        variance = ((own + by_score) ** 2).sum(axis=0) / number**2
        variances.append(np.where(blind.reshape(variance.shape), np.inf, variance).T)
    tests = _count_tests(courses, fit.rates, squares + np.diag(held), len(prior))
    plain, freed = (spread_out / variance for variance in variances)
    return Knowledge(value, np.sqrt(variances[0]), plain, freed, tests)


def _count_tests(
    courses: Courses, rates: Rates, information: np.ndarray, n_parameters: int
) -> np.ndarray:
    """Of how many tests in each state what they show would be known as well.

    By all information but that of their prior: 1 / (p (1 - p) variance of the log-odds).
    """
    where = np.arange(n_parameters - 7, n_parameters - 5)  # before reports, late tests, leaving
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
    """Scores of a block of people: of the parameters that are estimated, then of single days."""
    score = score_people(courses, rates, expected)[:, _mark_estimated(courses)]
    return np.concatenate([score, score_single_days(courses, rates, expected)], axis=1)


def _mark_estimated(courses: Courses) -> np.ndarray:
    """Which parameters are not taken as known: all but habits; multipliers are told apart."""
    places = list_parameters(courses.sizes)
    estimated = np.full(places["multiplier"].stop, True)
    estimated[places["planned"]] = False
    estimated[places["multiplier"]] = False
    return estimated


def know_rates(courses: Courses, fit: HiddenEnd, spread: float) -> tuple[np.ndarray, np.ndarray]:
    """Find the covariance matrix of the logarithms of the natural rates and of the jumps.

    It is found as the form of the model is and with the form freed, as in know_sums. People are
    taken to be independent; habits are taken as known, and all else is estimated too.

    Parameters
    ----------
    courses
        What was seen.
    fit
        The fit.
    spread
        Standard deviation of the logarithm of the natural rate of a day, the form freed.

    Returns
    -------
    tuple of np.ndarray
        The natural rates, then the jumps from class 1 on, (rates, rates); the same and then how far
        the logarithm of the natural rate is off on each day, (rates + H, rates + H).
    """
    score, prior = _gather_scores(courses, fit.rates)
    n_rates = courses.sizes.natural + courses.sizes.jump - 1
    n_single = len(courses.end_code)
    found = []
    for single in (0, n_single):
        held = np.r_[prior, np.full(single, 1 / spread**2)]
        last = len(held)
        wanted = np.r_[:n_rates, len(prior) : last]
        of_all = score[:, :last]
        inverse = _solve(of_all.T @ of_all + np.diag(held), np.eye(last)[:, wanted])[0]
        found.append(inverse[wanted])
    return found[0], found[1]


def refit_without(courses: Courses, fit: HiddenEnd, cluster: np.ndarray) -> list[Rates]:
    """Find what the rates would be without each cluster of people, by one Newton step.

    Parameters
    ----------
    courses
        What was seen.
    fit
        The fit.
    cluster
        The cluster of each person, (n,).

    Returns
    -------
    list of Rates
        In the order of the clusters' names.

    Notes
    -----
    On the scale on which errors are even the parameters move by -(J - J_c)^-1 g_c, with g_c the sum
    of the scores of the cluster's people and J_c that of their squares, and by no more than
    MOST_MOVED: the one-step jackknife (Pregibon D. Ann Stat 1981;9:705-724, from memory). Of three
    simulated pools of 12 sites standard errors of shares were .88 to 1.15 times those by whole
    refits, which took fifty times as long; further steps, with the information by squared scores,
    went astray.
    """
    blocks = expect(courses, fit.rates)
    score = np.concatenate([score_people(courses, fit.rates, block) for block in blocks])
    information = score.T @ score + np.diag(believe(courses, fit.rates).number)
    row = to_row(fit.rates)
    refits = []
    for name in np.unique(cluster):
        part = score[cluster == name]
        step, _ = _solve(information - part.T @ part, -part.sum(axis=0)[:, None])
        moved = row + np.clip(step[:, 0], -MOST_MOVED, MOST_MOVED)
        refits.append(from_row(moved, courses.sizes))
    return refits


def _gather_scores(courses: Courses, rates: Rates) -> tuple[np.ndarray, np.ndarray]:
    """Scores of all by parameters estimated and single days, and events known of the former."""
    prior = believe(courses, rates).number[_mark_estimated(courses)]
    scores = [_score(courses, rates, block) for block in expect(courses, rates)]
    return np.concatenate(scores), prior


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
    score, prior = _gather_scores(courses, fit.rates)
    score, sizes = score[:, : len(prior)], courses.sizes
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
