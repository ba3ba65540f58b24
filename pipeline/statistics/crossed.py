"""Standard deviations of crossed normal effects, of the greatest likelihood.

The model is that of pipeline/statistics/crossed_likelihood.py.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from pipeline.statistics.cloglog import ALIKE, Maximum, climb
from pipeline.statistics.crossed_likelihood import Counted, score_sds
from pipeline.statistics.guard import GRADIENT_LEFT, Refusal

STARTS = (0.3, 1.0)  # of every standard deviation
SAME = 1e-4  # largest difference of log-likelihoods that are the same
ENOUGH = 1e-9  # of twice the rise that is left
# of the greatest curvature, which differences of the log-likelihood do not tell from 0: on a ridge
# that is a circle of deviations around none they leave it
NOISE = 1e-3
STEEPEST = 1e-3  # slope that is none, in directions without curvature
# odds of like rows differ by a factor of twenty thousand: the search of limits ends here
GREATEST_SD = 5.0
Score = Callable[[np.ndarray], tuple[float, np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class CrossedFit:
    """Standard deviations of the greatest likelihood.

    Attributes
    ----------
    sds
        One for each factor, (factors,).
    log_likelihood
        There, as in Modes.
    maximum
        The maximum itself.
    flat
        Whether other standard deviations are as likely, as where each level of a factor is with one
        level of another: then none of them has a value, but what they leave of shares has.
    """

    sds: np.ndarray
    log_likelihood: float
    maximum: Maximum
    flat: bool


def fit_crossed(counted: Counted) -> CrossedFit | Refusal:
    """Find the standard deviations of the greatest likelihood.

    Parameters
    ----------
    counted
        Rows.

    Returns
    -------
    CrossedFit | Refusal
        The fit, or why there is none: nobody, or everybody, had the event, two starts end at
        different places, or the solution is no maximum.
    """
    if counted.events.sum() in (0, counted.members.sum()):
        return ALIKE
    n_factors = counted.factor.max() + 1
    ends = search(partial(score_sds, counted), np.zeros(n_factors))
    ended = [end for end in ends if np.abs(end.gradient).max() <= STEEPEST]
    if not ended:
        return Refusal("not_converged", "the gradient is not zero at the solution")
    best = max(ended, key=lambda end: end.value)
    if any(best.value - end.value >= SAME for end in ended) or best.value < max(
        end.value - SAME for end in ends
    ):
        return Refusal("not_converged", "two searches end at different places")
    curvature = _find_curvature(best)
    left = best.gradient @ np.linalg.pinv(best.information, NOISE, hermitian=True) @ best.gradient
    if curvature[0] < -NOISE:
        return Refusal("not_converged", "the solution is not a maximum of the likelihood")
    if left > GRADIENT_LEFT:
        return Refusal("not_converged", "the gradient is not zero at the solution")
    flat = curvature[0] < NOISE * curvature[-1]
    return CrossedFit(np.abs(best.point), best.value, best, bool(flat))


def search(score: Score, least: np.ndarray) -> list[Maximum]:
    """Climb from each of STARTS, since the likelihood may have several maxima.

    A climb that ends beside a maximum, at a deviation of 0, begins again from further out.

    Parameters
    ----------
    score
        Gives value, gradient and information of standard deviations.
    least
        Where no climb begins nearer to 0 than this.

    Returns
    -------
    list of Maximum
        Where each climb ended.
    """
    ends = []
    for start in STARTS:
        end = climb(score, np.maximum(least, start), ENOUGH)
        if _find_curvature(end)[0] < -NOISE:
            end = climb(score, np.maximum(np.abs(end.point), STARTS[0]), ENOUGH)
        ends.append(end)
    return ends


def _find_curvature(end: Maximum) -> np.ndarray:
    """Eigenvalues of the information with a diagonal of ones, rising, (factors,)."""
    scale = np.sqrt(np.maximum(np.abs(np.diag(end.information)), NOISE))
    return np.linalg.eigvalsh(end.information / np.outer(scale, scale))
