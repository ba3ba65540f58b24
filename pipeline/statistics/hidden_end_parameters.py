"""The parameters of a hidden state that ends, in one row, and what is known of them beforehand.

The model is that of pipeline/statistics/hidden_end_model.py. In a row parameters are on the scale
on which errors are even: logarithms of rates, log-odds of probabilities.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.statistics.hidden_end_model import SMALLEST_RATE, Courses, Rates, Sizes, begin

HABIT_DAYS = 1.0  # days of exposure by which a habit is drawn to the rate of tests in all
REPORT_PRIOR = 0.5  # of a report, on each side, by which reports are kept from 0 and 1
LOWEST, HIGHEST = -18.0, 3.0  # logarithms of rates: beyond, a rate is none, or the day is certain
LEAST_SLOPE = 1e-3  # of the log-likelihood by a rate, for the rate to be raised from none
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


def find_asleep(row: np.ndarray, slope: np.ndarray, sizes: Sizes) -> np.ndarray:
    """Mark rates that have become none although the likelihood would rise with them.

    On a scale of logarithms the slope is none there whatever the slope by the rate itself.
    """
    asleep = (row <= LOWEST) & (slope > LEAST_SLOPE * np.exp(LOWEST)) & np.isfinite(row)
    for name in PROBABILITIES:
        asleep[list_parameters(sizes)[name]] = False
    return asleep


def mark_main(sizes: Sizes) -> np.ndarray:
    """Mark the parameters of a row that are rates of the end or of planned tests."""
    places = list_parameters(sizes)
    marked = np.full(places["multiplier"].stop, False)
    for name in ("natural", "jump", "planned"):
        marked[places[name]] = True
    return marked


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
