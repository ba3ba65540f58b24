"""What tests from outside ask of the model of a hidden end (pipeline/statistics/hidden_end.py): the
only place where its names are used."""

import math
from dataclasses import replace

import numpy as np

from pipeline.statistics.hidden_end import HiddenEnd, fit_hidden_end
from pipeline.statistics.hidden_end_model import (
    CHOSEN,
    LATE_NEGATIVE,
    NO_TEST,
    PLANNED,
    TESTED,
    UNWATCHED,
    Courses,
    Prior,
    Rates,
    Sizes,
    begin,
)

NOTHING = -1
# As sure as can be that visits show the state as it is.
NEVER_WRONG = (1e9, 1e-9, 1 - 1e-9)
# As good as nothing known of it before; where the search begins is still said.
UNKNOWN = (1e-9, 0.05, 0.95)


def gather(
    shown: np.ndarray,
    belief=NEVER_WRONG,
    part=0,
    done=0,
    habit=0,
    watched=False,
    looked=False,
    said=NOTHING,
) -> Courses:
    """People of whom `shown` says on each day whether a visit showed the state (1), its end (0) or
    nothing was seen (-1). One rate of the end, nothing done, nothing said, and days of visits that
    are as given, unless said otherwise."""
    shown = np.asarray(shown)
    part, done, habit, said = (
        np.array(np.broadcast_to(each, shown.shape)) for each in (part, done, habit, said)
    )
    number, positive_out, positive_in = belief
    return Courses(
        natural_class=part,
        jump_class=done,
        habit=habit,
        coming=_say_coming(np.broadcast_to(watched, shown.shape), looked),
        result=shown,
        report=said,
        prior=Prior(number, positive_in, 1 - positive_out, ends=0.0, others=0.0),
        sizes=Sizes(part.max() + 1, done.max() + 1, habit.max() + 1),
    )


def _say_coming(watched: np.ndarray, looked: np.ndarray) -> np.ndarray:
    return np.where(watched, np.where(looked, TESTED, NO_TEST), UNWATCHED)


def watch(courses: Courses) -> Courses:
    """The same with the days of visits as evidence; appointments are kept alike by all."""
    every = np.ones(courses.result.shape, bool)
    coming = _say_coming(every, courses.result != NOTHING)
    return replace(courses, coming=coming, prior=replace(courses.prior, appointments=np.inf))


def alike(courses: Courses) -> Rates:
    """Where a search begins that takes visits to be as likely in the state as out of it, and
    nobody to leave: a rate of 0 stays 0."""
    return replace(stay(begin(courses)), chosen=np.zeros(2))


def only_in_state(courses: Courses) -> Rates:
    """Where a search begins that takes what is added to planned visits to be added in the state
    only, and nobody to leave: visits alone tell no more than by how much they are likelier in
    it."""
    return replace(stay(begin(courses)), chosen=np.array([0.0, 0.02]))


def stay(rates: Rates) -> Rates:
    """The same of people of whom nobody leaves."""
    return replace(rates, leaving=np.zeros(2))


def spread_starts(courses: Courses) -> list[Rates]:
    """Three places to begin a search: the usual one, and others for how visits come about."""
    usual = stay(begin(courses))
    return [
        usual,
        replace(usual, planned=usual.planned * 2, chosen=np.array([1e-4, 0.02])),
        replace(usual, natural=usual.natural * 3, chosen=np.array([1e-4, 0.3])),
    ]


def settle(courses: Courses, start: Rates | None = None, times: int = 20) -> HiddenEnd:
    """The fit, begun anew from where it ended, so that the rule of stopping weighs less."""
    for _ in range(times):
        fit = fit_hidden_end(courses, start)
        start = fit.rates
    return fit


def lean(courses: Courses, rates: Rates) -> float:
    """What is added to the log-likelihood: to each habit one day with the rate of visits in all,
    five appointments kept as well out of the state as in it, to what people say, and to late
    visits, half of each kind in each state, and what is believed of visits: each as far as it is
    from what it is drawn to."""
    rate = (courses.coming == TESTED).sum() / max(1, (courses.coming != UNWATCHED).sum())
    total = sum(-planned + (rate * np.log(planned) if rate else 0) for planned in rates.planned)
    if np.isfinite(courses.prior.appointments):
        total += courses.prior.appointments * (np.log(rates.keeping[0]) - rates.keeping[0] + 1)
    for chance in (*rates.telling, *rates.returning):
        total += 0.5 * np.log(2 * chance) + 0.5 * np.log(2 * (1 - chance))
    believed = 1 - courses.prior.specificity, courses.prior.sensitivity
    for chance, expected in zip(rates.showing, believed, strict=True):
        total += courses.prior.tests * expected * np.log(chance / expected)
        total += courses.prior.tests * (1 - expected) * np.log((1 - chance) / (1 - expected))
    return float(total)


def count_out(courses: Courses, rates: Rates) -> float:
    """The log-likelihood, by multiplying day by day for each person, each possible day of the end
    and each of leaving, and adding up."""
    people, days = courses.result.shape
    return sum(
        math.log(sum(count_out_end(courses, rates, person, end) for end in range(1, days + 2)))
        for person in range(people)
    )


def count_out_end(courses: Courses, rates: Rates, person: int, end: int) -> float:
    """The probability of an end on a day, whenever the person left, and of all that was seen."""
    days = range(1, courses.result.shape[1] + 2)
    return sum(_count_out(courses, rates, person, end, gone) for gone in days)


def _count_out(courses: Courses, rates: Rates, person: int, end: int, gone: int) -> float:
    """The probability of an end on a day, of leaving on another, and of all that was seen,
    multiplied day by day; the day after the last is never."""
    probability = 1.0
    strength = 1.0 if courses.group is None else rates.multiplier[courses.group[person]]
    for k in range(courses.coming.shape[1]):
        day, at = k + 1, (person, k)
        rate = rates.natural[courses.natural_class[at]] + rates.jump[courses.jump_class[at]]
        hazard = 1 - math.exp(-strength * rate)
        if day <= end:
            probability *= hazard if day == end else 1 - hazard
        lasts = int(day < end)
        coming, result, report = courses.coming[at], courses.result[at], courses.report[at]
        if day <= gone and coming != UNWATCHED:
            leaves = 1 - math.exp(-rates.leaving[lasts])
            probability *= leaves if day == gone else 1 - leaves
        elif day == gone:
            return 0.0  # nobody leaves on a day without a watch
        if day >= gone:  # nothing is seen of them
            probability *= coming in (UNWATCHED, NO_TEST) and report == NOTHING
            continue
        planned = rates.planned[courses.habit[at]] * rates.keeping[lasts]
        chosen = rates.chosen[lasts]
        either = max(planned + chosen, 1e-10)
        test = 1 - math.exp(-either)
        probability *= {
            UNWATCHED: 1,
            NO_TEST: 1 - test,
            TESTED: test,
            PLANNED: test * planned / either,
            CHOSEN: test * chosen / either,
        }[coming]
        if result != NOTHING:
            late = result >= LATE_NEGATIVE and not lasts
            positive = rates.returning[0] if late else rates.showing[lasts]
            probability *= positive if result % 2 else 1 - positive
        if report != NOTHING:
            probability *= rates.telling[lasts] if report else 1 - rates.telling[lasts]
    return probability


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
    return courses.keep(np.repeat(np.arange(len(courses.result)), copies))
