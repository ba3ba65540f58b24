"""Likelihood of counted events with crossed normal effects of several factors.

Of row i with n_i members the events are binomial with log-odds

    eta_i = mu + sum over the factors k of sd_k z_k[level of i],  z normal(0, 1),

with a flat prior of mu. The likelihood of the standard deviations is integrated over mu and all z
together by Laplace's approximation (Breslow NE, Clayton DG. J Am Stat Assoc 1993;88:9-25). Since mu
is integrated too it is a restricted one, which makes standard deviations of few levels less too
small (Harville DA. J Am Stat Assoc 1977;72:320-338, from memory). It is the same for sd and -sd, so
that its slope at 0 is 0 and a maximum there is one like any other.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array
from scipy.special import expit, logit

STEPS, HALVINGS = 60, 20
SMALL = 1e-14  # of twice the rise that a further Newton step promises
ROUNDING = 1e-12  # a fall of the log-density that is no fall
DIFFERENCE = 2e-3  # of a standard deviation, for differences of the slope


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

    @cached_property
    def pairs(self) -> csr_array:
        """Which pairs of columns each row belongs to, (rows, columns * columns).

        A row belongs to one level of each factor, so that nearly all of it is 0.
        """
        n = self.belongs.shape[1]
        held = np.nonzero(self.belongs)[1].reshape(len(self.belongs), -1)
        pair = (n * held[:, :, None] + held[:, None, :]).reshape(len(held), -1)
        start = pair.shape[1] * np.arange(len(held) + 1)
        return csr_array((np.ones(pair.size), pair.ravel(), start), shape=(len(held), n * n))

    def cross(self, weight: np.ndarray) -> np.ndarray:
        """Sum weights of rows over the pairs of columns that they belong to.

        Parameters
        ----------
        weight
            (points, rows).

        Returns
        -------
        np.ndarray
            belongs' diag(weight) belongs, (points, columns, columns).
        """
        n = self.belongs.shape[1]
        return (weight @ self.pairs).reshape(len(weight), n, n)

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
        Log-likelihood of the standard deviations, without the constant of the binomial
        coefficients, (points,).
    effects
        mu and z, (points, columns).
    information
        Negative second derivative of the joint log-density there, (points, columns, columns).
    """

    value: np.ndarray
    effects: np.ndarray
    information: np.ndarray


def find_modes(counted: Counted, sds: np.ndarray, start: np.ndarray | None = None) -> Modes:
    """Find the most likely effects, and Laplace's log-likelihood, at points of the parameters.

    Parameters
    ----------
    counted
        Rows.
    sds
        Standard deviations, (points, factors).
    start
        mu and z with which to begin, (columns,); by default those of no effects.

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
    if start is not None:
        effects[:] = start
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
    information = counted.cross(counted.members * chance * (1 - chance))
    information *= spread[:, :, None]
    information *= spread[:, None, :]
    prior = np.arange(1, spread.shape[1])
    information[:, prior, prior] += 1
    return gradient, information


def score_sds(
    counted: Counted, point: np.ndarray, free: Sequence[int] | None = None
) -> tuple[float, np.ndarray, np.ndarray]:
    """Log-likelihood of standard deviations, and its derivatives by those that are free.

    Parameters
    ----------
    counted
        Rows.
    point
        The standard deviations, of either sign, (factors,).
    free
        Numbers of factors; by default all.

    Returns
    -------
    tuple
        The log-likelihood, its gradient and, by central differences of that, its negative second
        derivative.
    """
    free = range(len(point)) if free is None else free
    shift = DIFFERENCE * np.eye(len(point))[free]
    around = np.array([point, *point + shift, *point - shift])
    middle = find_modes(counted, around[:1])
    modes = find_modes(counted, around, middle.effects[0])
    gradient, above, below = np.split(
        slope_sds(counted, around, modes)[:, free], [1, 1 + len(free)]
    )
    information = (below - above) / (2 * DIFFERENCE)
    return float(middle.value[0]), gradient[0], (information + information.T) / 2


def slope_sds(counted: Counted, sds: np.ndarray, modes: Modes) -> np.ndarray:
    """Gradient of Laplace's log-likelihood of standard deviations.

    Parameters
    ----------
    counted
        Rows.
    sds
        Standard deviations, (points, factors).
    modes
        The modes there.

    Returns
    -------
    np.ndarray
        (points, factors).

    Notes
    -----
    With h the joint log-density at its mode u and I its information, the log-likelihood is h - log
    |I| / 2. The slope of h is that at fixed u; log |I| changes through what multiplies the columns
    and through the weight of each row, which is told by its log-odds, and these change with u too.
    """
    spread, u = counted.spread(sds), modes.effects
    chance = expit((spread * u) @ counted.belongs.T)
    weight = counted.members * chance * (1 - chance)
    rest = (counted.events - counted.members * chance) @ counted.belongs
    covariance = np.linalg.inv(modes.information)
    of_columns = (covariance * spread[:, None, :] * counted.cross(weight)).sum(axis=2)
    between = spread[:, :, None] * covariance * spread[:, None, :]
    variance = between.reshape(len(sds), -1) @ counted.pairs.T
    bent = weight * (1 - 2 * chance) * variance
    by_weight = bent @ counted.belongs
    moved = np.einsum("kij,kj->ki", covariance, spread * by_weight)
    told = (weight * ((spread * moved) @ counted.belongs.T)) @ counted.belongs
    each = rest * u - of_columns - (by_weight * u + moved * rest - told * u) / 2
    return each[:, 1:] @ (counted.factor[:, None] == np.arange(sds.shape[1]))
