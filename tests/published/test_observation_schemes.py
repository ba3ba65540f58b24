"""Classes of schemes by which people are observed, and whether the days of visits say anything.

Grüger J, Kay R, Schumacher M. Biometrics 1991;47:595-605, as summed up in section 1.3 of the manual
of R's msm package (1.7): with fixed days, with days at random, and in a doctor's care, where the
state that was seen decides when the next visit is, days say nothing, and a likelihood that takes
them as given is right; where people come when they are unwell, it is not. Here each class has a
generator of its own, the likelihood of what was seen on given days is written out below, and the
model of a hidden end has to hold the truth in all.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from tests.published.hidden_end_cases import (
    NEVER_WRONG,
    NOTHING,
    alike,
    begin,
    fit_hidden_end,
    gather,
    only_in_state,
    settle,
    stay,
    watch,
)

RATE, DAYS, PEOPLE, SAMPLES = 0.05, 60, 300, 16
RIGHT, MISREAD = (0.0, 1.0), (0.1, 0.9)  # chances that a visit shows the state: out of it, in it

# The chance of a visit and the kind of its day, from the day, who is in the state, and what each
# person's last visit showed (0: no visit yet, 1: the state, 2: its end).
Scheme = Callable[[int, np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray | int]]


def within_a_day(rate: float | np.ndarray) -> np.ndarray:
    return -np.expm1(-np.asarray(rate))


def fixed(day: int, lasts: np.ndarray, shown: np.ndarray) -> tuple:
    """Each is seen at intervals that were laid down in advance: every week."""
    due = day % 7 == 0
    return np.full(len(lasts), float(due)), int(due)


def at_random(day: int, lasts: np.ndarray, shown: np.ndarray) -> tuple:
    """Days vary by chance, whatever the state."""
    return np.full(len(lasts), within_a_day(0.15)), 0


def in_care(day: int, lasts: np.ndarray, shown: np.ndarray) -> tuple:
    """Who was found in the state is seen again soon, who was found out of it late."""
    return within_a_day(np.array([0.2, 0.4, 0.05]))[shown], shown


def self_selected(day: int, lasts: np.ndarray, shown: np.ndarray) -> tuple:
    """People come when they are unwell, and seldom otherwise."""
    return within_a_day(np.where(lasts, 0.25, 0.02)), 0


@dataclass(frozen=True)
class Sample:
    shown: np.ndarray
    kind: np.ndarray
    reading: tuple[float, float]

    def gather(self, kinds: bool = True):
        belief = NEVER_WRONG if self.reading == RIGHT else (1e9, *self.reading)
        return gather(self.shown, belief, **({"habit": self.kind} if kinds else {}))


def follow(seed: int, scheme: Scheme, reading: tuple[float, float]) -> Sample:
    rng = np.random.default_rng(seed)
    end = np.ceil(rng.exponential(1 / RATE, PEOPLE))
    shown, kind = np.full((PEOPLE, DAYS), NOTHING), np.zeros((PEOPLE, DAYS), int)
    last = np.zeros(PEOPLE, int)
    for k in range(DAYS):
        lasts = end > k + 1
        chance, kind[:, k] = scheme(k + 1, lasts, last)
        came = rng.random(PEOPLE) < chance
        positive = rng.random(PEOPLE) < np.where(lasts, reading[1], reading[0])
        shown[came, k] = positive[came]
        last = np.where(came, np.where(positive, 1, 2), last)
    return Sample(shown, kind, reading)


def fit_given_days(sample: Sample) -> float:
    """The rate of greatest likelihood of what was seen, on the days on which it was: for each
    person the sum, over all days of the end, of the chance of what visits showed."""
    out, within = (
        np.select([sample.shown == 1, sample.shown == 0], [chance, 1 - chance], 1.0)
        for chance in sample.reading
    )
    ends = np.arange(DAYS + 1)  # so many days in the state
    seen = [within[:, :k].prod(axis=1) * out[:, k:].prod(axis=1) for k in ends]

    def loss(log_rate: float) -> float:
        lasted = np.exp(-np.exp(log_rate) * ends)
        chance = np.append(-np.diff(lasted), lasted[-1])
        return -np.log(chance @ seen).sum()

    optimum = minimize_scalar(loss, bounds=(-8, 1), method="bounded", options={"xatol": 1e-9})
    return float(np.exp(optimum.x))


def summarise(rates: list[float], truth: list[float] | float = RATE) -> tuple[float, float]:
    """The mean difference of logarithms, and its standard error."""
    apart = np.log(np.array(rates) / truth)
    return apart.mean(), apart.std(ddof=1) / np.sqrt(len(apart))


UNINFORMATIVE = [
    pytest.param(
        scheme, reading, id=f"{scheme.__name__}-{'right' if reading == RIGHT else 'misread'}"
    )
    for scheme in (fixed, at_random, in_care)
    for reading in (RIGHT, MISREAD)
]


@pytest.mark.parametrize(("scheme", "reading"), UNINFORMATIVE)
def test_days_that_say_nothing_can_be_taken_as_given(scheme, reading):
    samples = [follow(seed, scheme, reading) for seed in range(SAMPLES)]
    given = [fit_given_days(sample) for sample in samples]
    watched = [watch(sample.gather()) for sample in samples]
    ours = [fit_hidden_end(one, stay(begin(one))).rates.natural[0] for one in watched]
    for rates in (given, ours):
        mean, error = summarise(rates)
        assert abs(mean) < 3 * error
        assert error < 0.03
    mean, error = summarise(ours, given)
    assert abs(mean) < max(3 * error, 1e-4)  # with fixed days the two are the same
    assert error < 0.01


@pytest.mark.parametrize(("scheme", "reading"), UNINFORMATIVE)
def test_the_model_with_days_as_given_is_the_likelihood_written_out(scheme, reading):
    sample = follow(100, scheme, reading)
    expected = fit_given_days(sample)
    given = sample.gather()
    assert fit_hidden_end(given).rates.natural[0] == pytest.approx(expected, rel=1e-6)
    # with days as evidence, and visits as likely in the state as out of it
    observed = watch(given)
    fit = settle(observed, alike(observed))
    assert fit.rates.natural[0] == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("reading", [RIGHT, MISREAD])
def test_where_people_come_when_unwell_days_as_given_mislead_and_the_model_does_not(reading):
    samples = [follow(seed, self_selected, reading) for seed in range(SAMPLES)]
    mean, error = summarise([fit_given_days(sample) for sample in samples])
    assert mean < -5 * error
    fits = [
        fit_hidden_end(courses, only_in_state(courses))
        for courses in (watch(sample.gather()) for sample in samples)
    ]
    mean, error = summarise([fit.rates.natural[0] for fit in fits])
    assert abs(mean) < 3 * error
    assert error < 0.03
    for rates, truth in (
        ([fit.rates.of_tests()[0][0, 0] + fit.rates.chosen[0] for fit in fits], 0.02),
        ([fit.rates.of_tests()[0][0, 1] + fit.rates.chosen[1] for fit in fits], 0.25),
    ):
        mean, error = summarise(rates, truth)
        assert abs(mean) < 3 * error


def test_a_doctors_care_misleads_a_model_that_leaves_out_what_the_last_visit_showed():
    """Seen again soon because of a finding is taken for coming because of the state."""
    samples = [follow(seed, in_care, MISREAD) for seed in range(SAMPLES)]
    watched = [watch(sample.gather(kinds=False)) for sample in samples]
    ours = [fit_hidden_end(one, stay(begin(one))) for one in watched]
    mean, error = summarise([fit.rates.natural[0] for fit in ours])
    assert mean > 5 * error


def test_a_search_ends_where_visits_do_not_tell_planned_from_chosen():
    for seed in range(SAMPLES):
        fit_hidden_end(watch(follow(seed, self_selected, RIGHT).gather()))
