"""What tests from outside ask of the model of a hidden end (pipeline/statistics/hidden_end.py): the
only place where its names are used."""

import math
from dataclasses import replace

import numpy as np

from pipeline.statistics.hidden_end import Courses, HiddenEnd, Rates, begin, fit_hidden_end

NOTHING = -1
# As sure as can be that visits show the state as it is.
NEVER_WRONG = (1e9, 1e-9, 1 - 1e-9)
# As good as nothing known of it before; where the search begins is still said.
UNKNOWN = (1e-9, 0.05, 0.95)


def gather(shown: np.ndarray, belief=NEVER_WRONG, **given) -> Courses:
    """People of whom `shown` says on each day whether a visit showed the state (1), its end (0) or
    nothing was seen (-1). One rate of the end, nothing done, nothing said, and days of visits that
    are as given, unless said otherwise."""
    shape = np.shape(shown)
    filled = {
        "part": np.zeros(shape, int),
        "done": np.zeros(shape, int),
        "habit": np.zeros(shape, int),
        "watched": np.zeros(shape, bool),
        "looked": np.zeros(shape, bool),
        "said": np.full(shape, NOTHING),
    }
    return Courses(shown=np.asarray(shown), belief=belief, **(filled | given))


def watch(courses: Courses) -> Courses:
    """The same with the days of visits as evidence."""
    every = np.ones(courses.shown.shape, bool)
    return replace(courses, watched=every, looked=courses.shown != NOTHING)


def alike(courses: Courses) -> Rates:
    """Where a search begins that takes visits to be as likely in the state as out of it: a rate
    of 0 that is one part of a sum stays 0."""
    return replace(begin(courses), chosen=np.zeros(2))


def only_in_state(courses: Courses) -> Rates:
    """Where a search begins that takes what is added to planned visits to be added in the state
    only: visits alone tell no more than by how much they are likelier in it."""
    return replace(begin(courses), chosen=np.array([0.0, 0.02]))


def spread_starts(courses: Courses) -> list[Rates]:
    """Three places to begin a search: the usual one, and others for how visits come about."""
    usual = begin(courses)
    return [
        usual,
        replace(usual, planned=usual.planned * 2, chosen=np.array([1e-4, 0.02])),
        replace(usual, natural=usual.natural * 3, chosen=np.array([1e-4, 0.3])),
    ]


def settle(courses: Courses, start: Rates | None = None, times: int = 5) -> HiddenEnd:
    """The fit, begun anew from where it ended, so that the rule of stopping weighs less."""
    for _ in range(times):
        fit = fit_hidden_end(courses, start)
        start = fit.rates
    return fit


def lean(courses: Courses, rates: Rates) -> float:
    """What is added to the log-likelihood: to each habit one day with the rate of visits in all, to
    what people say half a person of each kind in each state, and what is believed of visits."""
    rate = courses.looked.sum() / max(1, courses.watched.sum())
    total = sum(-planned + (rate * np.log(planned) if rate else 0) for planned in rates.planned)
    for chance in rates.telling:
        total += 0.5 * np.log(chance) + 0.5 * np.log(1 - chance)
    number, *believed = courses.belief
    for chance, expected in zip(rates.showing, believed, strict=True):
        total += number * (expected * np.log(chance) + (1 - expected) * np.log1p(-chance))
    return float(total)


def count_out(courses: Courses, rates: Rates) -> float:
    """The log-likelihood, by multiplying day by day for each person and each possible day of the
    end, and adding up."""
    people, days = courses.shown.shape
    return sum(
        math.log(sum(_joint(courses, rates, person, end) for end in range(1, days + 2)))
        for person in range(people)
    )


def _joint(courses: Courses, rates: Rates, person: int, end: int) -> float:
    """The probability of an end on a day, and of all that was seen of a person."""
    chance = 1.0
    for k in range(courses.shown.shape[1]):
        at = person, k
        rate = rates.natural[courses.part[at]] + rates.jump[courses.done[at]]
        if k + 1 < end:
            chance *= math.exp(-rate)
        elif k + 1 == end:
            chance *= 1 - math.exp(-rate)
        lasts = 1 if k + 1 < end else 0
        if courses.watched[at]:
            none = math.exp(-rates.planned[courses.habit[at]] - rates.chosen[lasts])
            chance *= 1 - none if courses.looked[at] else none
        for seen, yes in ((courses.shown, rates.showing), (courses.said, rates.telling)):
            if seen[at] != NOTHING:
                chance *= yes[lasts] if seen[at] else 1 - yes[lasts]
    return chance


NAMES = ("natural", "jump", "planned", "chosen", "showing", "telling")
CHANCES = ("showing", "telling")


def list_interior(rates: Rates, least: float = 1e-3) -> list[tuple[str, int]]:
    """Name and place of the parameters that are not at an end of their range."""
    found = []
    for name in NAMES:
        for k, value in enumerate(getattr(rates, name)):
            most = 1 - least if name in CHANCES else 20.0
            if least < value < most:
                found.append((name, k))
    return found


def move(rates: Rates, name: str, place: int, step: float) -> Rates:
    """One parameter moved, a rate on the scale of logarithms, a probability on that of odds."""
    numbers = getattr(rates, name).copy()
    if name in CHANCES:
        odds = numbers[place] / (1 - numbers[place]) * math.exp(step)
        numbers[place] = odds / (1 + odds)
    else:
        numbers[place] *= math.exp(step)
    return replace(rates, **{name: numbers})


def repeat(courses: Courses, copies: int) -> Courses:
    """Each person so many times."""
    return courses.keep(np.repeat(np.arange(len(courses.shown)), copies))
