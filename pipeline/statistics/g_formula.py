"""The course of a state under a plan of what is done and when: the g-formula for hazards.

With natural rates a(d) of the days d and jumps b(k) of the classes k of what is done, and something
of class k(s) done on day s, to whoever is still in the state, the share in it after day t is

    S(t) = exp(-(sum of a(d) over days d <= t) - (sum of b(k(s)) over days s < t)):

what is done on a day acts on the next one; of a course over several days each day is something
done. This is the g-formula (Robins JM. Math Modelling
1986;7:1393-1512) where, of people in the state, what is done next says nothing of their hazard
beyond its class. Everything told of a plan is a sum of S(t) over days, with weights, and a
constant.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Course:
    """The share in the state after each day under a plan, and how it hangs on the rates.

    Attributes
    ----------
    share
        From day 0, on which it is 1, to the last day, (days + 1,).
    slope
        Its derivatives by the logarithms of the rates, (days + 1, rates).
    """

    share: np.ndarray
    slope: np.ndarray

    def add_up(self, weight: np.ndarray) -> "Functional":
        """Sum the shares with these weights, (days + 1,)."""
        return Functional(float(weight @ self.share), weight @ self.slope)

    def spread(self, weight: np.ndarray) -> float:
        """Variance of the same sum of one person, who is in the state or not on each day."""
        joint = np.minimum(self.share[:, None], self.share) - self.share[:, None] * self.share
        return float(weight @ joint @ weight)


@dataclass(frozen=True)
class Functional:
    """A linear functional of the course under one plan, or a difference of two.

    Attributes
    ----------
    value
        The number.
    slope
        Its derivatives by the logarithms of the rates, (rates,).
    """

    value: float
    slope: np.ndarray

    def minus(self, other: "Functional") -> "Functional":
        """How much greater it is than another."""
        return Functional(self.value - other.value, self.slope - other.slope)

    def complement(self) -> "Functional":
        """One less the number."""
        return Functional(1 - self.value, -self.slope)

    def variance(self, covariance: np.ndarray) -> float:
        """By the covariance of the logarithms of the rates (delta method)."""
        return float(self.slope @ covariance @ self.slope)


def count_exposure(
    natural: np.ndarray, actions: dict[int, int], n_natural: int, n_rates: int
) -> np.ndarray:
    """Count how often each rate has acted by each day.

    Parameters
    ----------
    natural
        The number of the natural rate of each day from 1 on, (days,).
    actions
        The class of what is done on a day, from 0 on; classes begin with 1.
    n_natural, n_rates
        How many natural rates there are, and how many rates in all; jumps follow the natural rates.

    Returns
    -------
    np.ndarray
        From day 0 on, (days + 1, rates).
    """
    acting = np.zeros((len(natural) + 1, n_rates))
    acting[np.arange(1, len(natural) + 1), natural] = 1
    for day, kind in actions.items():
        if day < len(natural):
            acting[day + 1, n_natural + kind - 1] += 1
    return acting.cumsum(axis=0)


def follow(exposure: np.ndarray, rates: np.ndarray) -> Course:
    """Follow the share in the state.

    Parameters
    ----------
    exposure
        Of count_exposure, (days + 1, rates).
    rates
        The rates, (rates,).

    Returns
    -------
    Course
        The shares and their derivatives.
    """
    share = np.exp(-exposure @ rates)
    return Course(share, -share[:, None] * exposure * rates)


def free_form(course: Course, daily: np.ndarray) -> Course:
    """Let the natural rate be off on each single day.

    Parameters
    ----------
    course
        The course under a plan.
    daily
        The natural rate that acts on each day from 1 on, (days,).

    Returns
    -------
    Course
        The same, with the derivatives by how far the logarithm of the natural rate is off on each
        day after those by the rates.
    """
    acted = np.tri(len(daily) + 1, len(daily), -1)
    by_day = -course.share[:, None] * acted * daily
    return Course(course.share, np.concatenate([course.slope, by_day], axis=1))
