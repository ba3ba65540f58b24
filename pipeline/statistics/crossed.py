"""Logistic regression of counted events with crossed normal effects of several factors.

Of row i with n_i members the events are binomial with log-odds

    eta_i = mu + sum over the factors k of sd_k z_k[level of i],  z normal(0, 1),

with a flat prior of mu. The likelihood of the standard deviations is integrated over mu and all z
together by Laplace's approximation (Breslow NE, Clayton DG. J Am Stat Assoc 1993;88:9-25). Since mu
is integrated too it is a restricted one, which makes standard deviations of few levels less too
small (Harville DA. J Am Stat Assoc 1977;72:320-338, from memory). It is the same for sd and -sd, so
that its slope at 0 is 0 and a maximum there is one like any other.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit, logit
from scipy.stats import chi2

from pipeline.statistics.cloglog import Maximum, climb
from pipeline.statistics.guard import GRADIENT_LEFT, Refusal

STEPS, HALVINGS = 60, 20
SMALL = 1e-14  # of twice the rise that a further Newton step promises
ROUNDING = 1e-12  # a fall of the log-density that is no fall
DIFFERENCE = 2e-3  # of a standard deviation, for differences of the log-likelihood
STARTS = (0.3, 1.0)  # of every standard deviation
SAME = 1e-4  # largest difference of log-likelihoods that are the same
ENOUGH = 1e-9  # of twice the rise that is left
# of the greatest curvature, which differences of the log-likelihood do not tell from none
NOISE = 1e-3
OFF = (0.1, 0.05, 0.02, 0.01)  # steps from a standard deviation of 0, where no slope shows the way
STEEPEST = 1e-3  # slope that is none, in directions without curvature
# odds of like rows differ by a factor of twenty thousand: the search of limits ends here
GREATEST_SD = 5.0
CLOSE = 0.01  # of the root of twice the fall of the log-likelihood at its limits
ALIKE = Refusal(
    "not_identified",
    "separation: some have no event, or only events, and no finite coefficient fits",
)
Score = Callable[[np.ndarray], tuple[float, np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class Counted:
    """Counted rows and the levels that they belong to.

    Attributes
    ----------
    events, members
        How many of each row had the event, and of how many, (rows,).
    belongs
        A column of ones, then one of zeros and ones for each level of each factor, (rows, 1 +
        levels).
    factor
        The number of the factor of each level, (levels,).
    """

    events: np.ndarray
    members: np.ndarray
    belongs: np.ndarray
    factor: np.ndarray

    def spread(self, sds: np.ndarray) -> np.ndarray:
        """Tell by what each column is multiplied.

        It is 1 for mu, and for a level the standard deviation of its factor.

        Parameters
        ----------
        sds
            Standard deviations, (points, factors).

        Returns
        -------
        np.ndarray
            (points, 1 + levels).
        """
        return np.column_stack([np.ones(len(sds)), sds[:, self.factor]])


def count_rows(events: np.ndarray, members: np.ndarray, factors: Sequence[np.ndarray]) -> Counted:
    """Lay out counted rows.

    Parameters
    ----------
    events, members
        How many of each row had the event, and of how many, (rows,).
    factors
        For each factor the level of each row, (rows,).

    Returns
    -------
    Counted
        Levels of each factor in the order of their names.
    """
    columns, owner = [np.ones((len(events), 1))], []
    for number, levels in enumerate(factors):
        names, index = np.unique(levels, return_inverse=True)
        columns.append(np.eye(len(names))[index])
        owner += [number] * len(names)
    return Counted(
        np.asarray(events, float), np.asarray(members, float), np.hstack(columns), np.array(owner)
    )


@dataclass(frozen=True)
class Modes:
    """The most likely mu and z for each of several points, and what follows.

    Attributes
    ----------
    value
        Log-likelihood of the standard deviations, without binomial coefficients, (points,).
    effects
        mu and z, (points, columns).
    information
        Negative second derivative of the joint log-density there, (points, columns, columns).
    """

    value: np.ndarray
    effects: np.ndarray
    information: np.ndarray


def find_modes(counted: Counted, sds: np.ndarray) -> Modes:
    """Find the most likely effects, and Laplace's log-likelihood, at points of the parameters.

    Parameters
    ----------
    counted
        Rows.
    sds
        Standard deviations, (points, factors).

    Returns
    -------
    Modes
        The joint log-density is concave: Newton's steps, each shortened until it rises, lead to its
        one mode.

    Raises
    ------
    FloatingPointError
        Where a search does not end.
    """
    spread = counted.spread(np.asarray(sds, float))
    effects = np.zeros(spread.shape)
    effects[:, 0] = logit((counted.events.sum() + 0.5) / (counted.members.sum() + 1))
    height = _joint(counted, spread, effects)
    for _ in range(STEPS):
        gradient, information = _derive(counted, spread, effects)
        step = np.linalg.solve(information, gradient[:, :, None])[:, :, 0]
        rise = (gradient * step).sum(axis=1)
        if rise.max() < SMALL:
            break
        length = np.ones(len(step))
        for _ in range(HALVINGS):
            tried = effects + length[:, None] * step
            reached = _joint(counted, spread, tried)
            falls = reached < height - ROUNDING * np.abs(height)
            if not falls.any():
                break
            length[falls] /= 2
        effects, height = tried, reached
    else:
        raise FloatingPointError("the effects were not found")
    _, log_size = np.linalg.slogdet(information)
    return Modes(height + np.log(2 * np.pi) / 2 - log_size / 2, effects, information)


def _joint(counted: Counted, spread: np.ndarray, effects: np.ndarray) -> np.ndarray:
    """Joint log-density of events and z at each point, without constants."""
    linear = (spread * effects) @ counted.belongs.T
    told = linear @ counted.events - np.logaddexp(0, linear) @ counted.members
    return told - (effects[:, 1:] ** 2).sum(axis=1) / 2


def _derive(
    counted: Counted, spread: np.ndarray, effects: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Gradient of the joint log-density and its negative second derivative at each point."""
    chance = expit((spread * effects) @ counted.belongs.T)
    gradient = spread * ((counted.events - counted.members * chance) @ counted.belongs)
    gradient[:, 1:] -= effects[:, 1:]
    weight = counted.members * chance * (1 - chance)
    information = np.array([(counted.belongs.T * row) @ counted.belongs for row in weight])
    information *= spread[:, :, None] * spread[:, None, :]
    prior = np.arange(1, spread.shape[1])
    information[:, prior, prior] += 1
    return gradient, information


@dataclass(frozen=True)
class CrossedFit:
    """Standard deviations of the greatest likelihood.

    Attributes
    ----------
    sds
        One for each factor, (factors,).
    maximum
        The maximum itself; its value is as in Modes.
    flat
        Whether other standard deviations are as likely, as where each level of a factor is with one
        level of another: then none of them has a value, but what they leave of shares has.
    """

    sds: np.ndarray
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
    ends = [_climb(partial(_score, counted), np.full(n_factors, start)) for start in STARTS]
    best = max(ends, key=lambda end: end.value)
    if not all(best.value - end.value < SAME for end in ends):
        return Refusal("not_converged", "two searches end at different places")
    scale = np.sqrt(np.maximum(np.abs(np.diag(best.information)), NOISE))
    curvature = np.linalg.eigvalsh(best.information / np.outer(scale, scale))
    left = best.gradient @ np.linalg.pinv(best.information, NOISE, hermitian=True) @ best.gradient
    if curvature[0] < -NOISE:
        return Refusal("not_converged", "the solution is not a maximum of the likelihood")
    if left > GRADIENT_LEFT or np.abs(best.gradient).max() > STEEPEST:
        return Refusal("not_converged", "the gradient is not zero at the solution")
    flat = curvature[0] < NOISE * curvature[-1]
    return CrossedFit(np.abs(best.point), best, bool(flat))


def _climb(score: Score, start: np.ndarray) -> Maximum:
    """Climb, and on from a standard deviation of 0 from which the likelihood rises."""
    for step in OFF:
        end = climb(score, start, ENOUGH)
        curvature = np.diag(end.information)
        stuck = (np.abs(end.point) < step / 2) & (curvature < -NOISE * np.abs(curvature).max())
        if not stuck.any():
            break
        start = np.where(stuck, step, end.point)
    return end


def _score(counted: Counted, point: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """Log-likelihood of the standard deviations, its gradient and negative second derivative.

    By central differences.
    """
    n = len(point)
    shift = DIFFERENCE * np.eye(n)
    pairs = [(i, j) for i in range(n) for j in range(i)]
    corners = [
        point + a * shift[i] + b * shift[j] for i, j in pairs for a in (1, -1) for b in (1, -1)
    ]
    value = find_modes(counted, np.array([point, *point + shift, *point - shift, *corners])).value
    middle, above, below = value[0], value[1 : n + 1], value[n + 1 : 2 * n + 1]
    information = np.diag((2 * middle - above - below) / DIFFERENCE**2)
    for (i, j), (both, first, second, none) in zip(
        pairs, value[2 * n + 1 :].reshape(-1, 4), strict=True
    ):
        information[i, j] = information[j, i] = -(both - first - second + none) / (
            4 * DIFFERENCE**2
        )
    return float(middle), (above - below) / (2 * DIFFERENCE), information


def limit_sd(
    counted: Counted, fit: CrossedFit, factor: int, coverage: float = 0.95
) -> tuple[float, float]:
    """Find profile-likelihood limits of the standard deviation of a factor.

    Parameters
    ----------
    counted
        Rows.
    fit
        The fit of all standard deviations.
    factor
        Its number.
    coverage
        Probability with which the limits hold the standard deviation.

    Returns
    -------
    tuple of float
        Where twice the log-likelihood has fallen by the `coverage` quantile of chi-squared with one
        degree of freedom: the lower limit, 0 where the data do not exclude it, and the upper one,
        inf where it has not fallen enough at GREATEST_SD.
    """
    reach, middle = np.sqrt(chi2.ppf(coverage, 1)), fit.sds[factor]
    others = np.delete(fit.sds, factor)

    def excess(sd: float) -> float:
        def score(point: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
            value, gradient, information = _score(counted, np.insert(point, factor, sd))
            kept = np.arange(len(fit.sds)) != factor
            return value, gradient[kept], information[np.ix_(kept, kept)]

        highest = _climb(score, others).value
        over = float(np.sqrt(2 * max(fit.maximum.value - highest, 0.0)) - reach)
        return over if abs(over) > CLOSE else 0.0

    lower = brentq(excess, 0.0, middle, xtol=CLOSE / 10) if excess(0.0) > 0 else 0.0
    high = middle + STARTS[0]
    while excess(high) < 0 and high < GREATEST_SD:
        high = min(1.5 * high, GREATEST_SD)
    upper = brentq(excess, middle, high, xtol=CLOSE / 10) if excess(high) >= 0 else np.inf
    return float(lower), float(upper)
