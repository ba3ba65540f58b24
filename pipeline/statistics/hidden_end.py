"""When a hidden state ended: the fit of pipeline/statistics/hidden_end_model.py.

By the greatest penalised likelihood: a quasi-Newton search (L-BFGS-B; Byrd RH, Lu P, Nocedal J, Zhu
C. SIAM J Sci Comput 1995;16:1190-1208, from memory) along axes on which the information that the
scores give is even. Whether a search has ended is not left to its own word: at its end the
information J and the gradient g are found anew, and another Newton step would have to raise the
log-likelihood by less than TOLERANCE (g' J^-1 g / 2). Slopes are in
pipeline/statistics/hidden_end_scores.py, standard errors in
pipeline/statistics/hidden_end_influence.py.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import minimize

from pipeline.statistics.hidden_end_model import Courses, Rates, begin
from pipeline.statistics.hidden_end_parameters import (
    believe,
    find_asleep,
    find_free,
    from_row,
    mark_main,
    to_row,
)
from pipeline.statistics.hidden_end_scores import count_days, score_people, slope_of_likelihood
from pipeline.statistics.hidden_end_sums import expect
from pipeline.statistics.npmle_search import NotConverged

TOLERANCE = 1e-8  # of the log-likelihood: what one more step may promise where a fit has ended
ROUNDS, STEPS = 40, 30  # searches, each with axes of its own, and steps of each
MEMORY = 20  # steps by which the search learns how slopes change
NEAR = 1e-5  # slope along an axis on which the information is 1 below which a search has ended
LEAST_INFORMATION = 1e-6  # about the logarithm of a rate, lest a search leap where there is none
MANY, PART = 10_000, 4  # so many begin where the search of a fourth of them ended
WOKEN = -9.0  # logarithm of a rate that had become none and should not have
FAR_BELOW = 100.0  # the start of a search: where what was seen would be impossible


@dataclass(frozen=True)
class HiddenEnd:
    """A fit.

    Attributes
    ----------
    rates
        The parameters.
    weight
        weight[i, k] is the probability that person i's state ended on day k + 1, the last column
        that it lasts longer than H, each given all that was seen of the person.
    value, promise
        The penalised log-likelihood, and by how much one more step would raise it.
    """

    rates: Rates
    weight: np.ndarray
    value: float
    promise: float

    def share_ended(self, days: np.ndarray, rows: np.ndarray | None = None) -> np.ndarray:
        """Find the mean probability that the state had ended by each of `days`, whole, 1 to H.

        The mean is over the people `rows`; over all if None.
        """
        weight = self.weight if rows is None else self.weight[rows]
        return weight.mean(axis=0).cumsum()[np.asarray(days, dtype=int) - 1]


def fit_hidden_end(courses: Courses, start: Rates | None = None) -> HiddenEnd:
    """Fit the model by the greatest penalised likelihood.

    Parameters
    ----------
    courses
        What was seen.
    start
        Rates to start from, of which one that is 0 stays 0; those of `begin` if None, or of the fit
        of a part of the people where they are many.

    Raises
    ------
    NotConverged
        Where the likelihood still rises after many rounds.
    """
    if start is None and len(courses.coming) >= MANY:
        start = fit_hidden_end(courses.keep(np.arange(len(courses.coming)) % PART == 0)).rates
    row = to_row(start or begin(courses))
    if start is None:
        row = _approach(courses, row)
    for _ in range(ROUNDS):
        rates = from_row(row, courses.sizes)
        value, slope = _evaluate(courses, rates)
        asleep = find_asleep(row, slope, courses.sizes)
        if asleep.any():
            row[asleep] = WOKEN
            continue
        free = find_free(row, slope, courses)
        information = _inform(courses, rates)
        # of a rate near none scores tell nothing: no step of its logarithm is to be above 1
        information += np.diag(np.maximum(np.abs(slope) - np.diag(information), 0.0))
        axes = cholesky(information[np.ix_(free, free)])
        along = solve_triangular(axes, slope[free], trans="T")
        length = float(np.linalg.norm(along))
        promise = length**2 / 2
        if promise < TOLERANCE:
            return HiddenEnd(rates, find_weights(courses, rates), value, promise)
        # nor is that of several together, where their scores hardly differ
        longest = max(1.0, float(np.abs(solve_triangular(axes, along)).max()))
        row = _climb(courses, row, free, axes, min(1.0, length / longest))
    raise NotConverged(f"the likelihood still rises after {ROUNDS} rounds")


def find_weights(courses: Courses, rates: Rates) -> np.ndarray:
    """Find the probability of each day of the end, and of none, given all that was seen.

    Returns
    -------
    np.ndarray
        (n, H + 1); the last column is of no end by day H.
    """
    blocks = []
    for expected in expect(courses, rates):
        blocks.append(np.vstack([expected.ended, expected.outlasted[-1:]]).T)
    return np.concatenate(blocks)


def _evaluate(courses: Courses, rates: Rates) -> tuple[float, np.ndarray]:
    """The penalised log-likelihood and its gradient."""
    counts, belief = count_days(courses, rates), believe(courses, rates)
    slope = slope_of_likelihood(courses, rates, counts) + belief.slope
    return counts.log_likelihood + belief.value, slope


def _inform(courses: Courses, rates: Rates) -> np.ndarray:
    """The information of the parameters: squared scores, and events that are known beforehand."""
    information = np.diag(believe(courses, rates).number + LEAST_INFORMATION)
    for expected in expect(courses, rates):
        score = score_people(courses, rates, expected)
        information += score.T @ score
    return information


def _approach(courses: Courses, row: np.ndarray) -> np.ndarray:
    """Search from afar for the rates of the end and of planned tests, each along its own axis.

    There the information misleads across axes. Were all parameters free, a search could end at a
    lower maximum: where most tests were misread, or where whoever is well comes far more often.
    """
    rates = from_row(row, courses.sizes)
    free = find_free(row, _evaluate(courses, rates)[1], courses) & mark_main(courses.sizes)
    axes = np.diag(np.sqrt(np.diag(_inform(courses, rates))[free]))
    return _climb(courses, row, free, axes, 1.0)


def _climb(
    courses: Courses, row: np.ndarray, free: np.ndarray, axes: np.ndarray, first: float
) -> np.ndarray:
    """Search along the axes of an information, of which they are the upper Cholesky factor.

    The first step is `first` long, a Newton step or shorter. Returns the row where the search ends.
    """

    def reach(steps: np.ndarray) -> np.ndarray:
        reached = row.copy()
        reached[free] += solve_triangular(axes, first * steps)
        return reached

    def descend(steps: np.ndarray) -> tuple[float, np.ndarray]:
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            value, slope = _evaluate(courses, from_row(reach(steps), courses.sizes))
        if not (np.isfinite(value) and np.isfinite(slope).all()):
            return (FAR_BELOW - start) / first**2, np.zeros(len(steps))
        return -value / first**2, -solve_triangular(axes, slope[free], trans="T") / first

    start = _evaluate(courses, from_row(row, courses.sizes))[0]
    options = {"maxiter": STEPS, "maxcor": MEMORY, "gtol": NEAR / first, "ftol": 0.0}
    found = minimize(descend, np.zeros(free.sum()), jac=True, method="L-BFGS-B", options=options)
    return to_row(from_row(reach(found.x), courses.sizes))
