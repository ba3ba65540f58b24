"""Pools drawn from a known truth, at the level of derived rows,
and the truth itself from the same course without sites' luck.

A course is drawn for all patients at once, test by test: a session adds its jump of cumulative
hazard, each day its rate; the patient resolves when an exponential threshold is spent. Tests only
show on which side of a day that was.
"""

from dataclasses import dataclass

import numpy as np

from tests.recovery.scenarios import (
    EARLY_TEST,
    JITTER,
    LAST_SESSION_DAY,
    LONG_ONSET,
    LOST_INFORMATIVE,
    PER_DECADE,
    RETURN_RATE,
    SESSION_CHANCE,
    VARIANTS,
    VISITS,
    WEIBULL_DAYS,
    WEIBULL_SHAPE,
    Scenario,
)

AT_ONCE = 0.01  # days: a maneuver acts at once, after the test that led to it


@dataclass(frozen=True)
class People:
    """Patients before treatment: one entry each.

    `effect` is the log hazard of everything but the variant; `prone` how much a site changes.
    """

    site: np.ndarray
    variant: np.ndarray
    age: np.ndarray
    female: np.ndarray
    onset: np.ndarray
    prior: np.ndarray
    effect: np.ndarray
    prone: np.ndarray


@dataclass(frozen=True)
class Course:
    """What happened: `resolved` (patients,) in days; tests and sessions as (patients, visits),
    nan where there was none.

    `positive` tells what each test showed. `session` has the day of each session in the column of
    the test that led to it, one column further than tests: column 0 is the session of day 0.
    `family` is 0 or 1 of the variant's two families.
    """

    resolved: np.ndarray
    test_day: np.ndarray
    positive: np.ndarray
    session: np.ndarray
    family: np.ndarray


def draw_sites(scenario: Scenario, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """The site of each patient, and each patient's site effect in standard deviations;
    sizes do not depend on effects."""
    sizes = np.maximum(
        12, np.round(scenario.per_site * rng.lognormal(-0.08, 0.4, scenario.sites))
    ).astype(int)
    site = np.repeat(np.arange(scenario.sites), sizes)
    return site, rng.standard_normal(scenario.sites)[site]


def draw_people(
    scenario: Scenario, site: np.ndarray, site_effect: np.ndarray, rng: np.random.Generator
) -> People:
    """Patients of given sites, their covariates and their effects."""
    n = len(site)
    variant = rng.choice(len(VARIANTS), n, p=[variant.share for variant in VARIANTS])
    age = rng.integers(30, 90, n)
    onset = rng.choice([-3, -15, -60], n, p=[0.5, 0.3, 0.2])
    frailty = scenario.patient_sd * rng.standard_normal(n)
    effect = (
        scenario.site_sd * site_effect
        + frailty
        + LONG_ONSET * (onset == -60)
        + PER_DECADE * (age // 10 - 6)
    )
    return People(
        site,
        variant,
        age,
        rng.random(n) < 0.6,
        onset,
        rng.choice([0, 1, 3], n, p=[0.6, 0.25, 0.15]),
        effect,
        -site_effect,
    )


def draw_course(
    people: People,
    scenario: Scenario,
    gap: int,
    rng: np.random.Generator,
    second: int | None = None,
    lost: bool = True,
) -> Course:
    """The course of each patient.

    With `second` all second sessions change (1) or repeat (0); without `lost` nobody stays away for
    good.
    """
    n, visits = len(people.site), len(VISITS)
    test_day, positive = np.full((n, visits), np.nan), np.zeros((n, visits), bool)
    session, family = np.full((n, visits + 1), np.nan), np.zeros((n, visits + 1), int)
    threshold = rng.exponential(size=n) * np.exp(-people.effect)
    adherent = np.array([variant.mechanism == "cupulolithiasis" for variant in VARIANTS])[
        people.variant
    ]
    wish = scenario.channelling * (
        1.2 * adherent + 0.8 * (people.onset == -60) + 0.7 * people.prone
    )
    session[:, 0] = 0
    family[:, 0] = rng.random(n) < _expit(-0.4 + 0.7 * scenario.channelling * adherent)
    first = family[:, 0].copy()
    resolved, threshold = _treat(
        people, scenario, threshold, np.zeros(n), np.ones(n, bool), first, first, first_session=True
    )
    clock, latest, count = np.zeros(n), first.copy(), np.ones(n, int)
    back, gone = np.full(n, np.inf), np.zeros(n, bool)
    for k in range(visits):
        day = rng.integers(JITTER[k][0], JITTER[k][1] + 1, n).astype(float)
        if scenario.testing == "planned" or (scenario.testing == "symptoms" and k > 0):
            day = np.full(n, float(VISITS[k]))
        ill = (resolved > day) | (back <= day)
        gone |= (rng.random(n) < _stay_away(scenario, ill)) & lost
        seen = ~gone & (rng.random(n) < _come(scenario, k, ill))
        test_day[seen, k], positive[:, k] = day[seen], seen & ill
        gone |= seen & (back <= day)  # the record ends with a return
        eased = seen & ~ill & np.isinf(back)
        back[eased] = day[eased] + gap + rng.exponential(1 / RETURN_RATE, n)[eased]
        again = (
            seen & (resolved > day) & (rng.random(n) < SESSION_CHANCE) & (day <= LAST_SESSION_DAY)
        )
        change = rng.random(n) < np.where(count == 1, _expit(-0.3 + wish), 0.5)
        if second is not None:
            change = np.where(count == 1, bool(second), change)
        chosen = np.where(change, 1 - latest, latest)
        session[again, k + 1], family[again, k + 1] = day[again], chosen[again]
        if not scenario.weibull:
            spent = _rates(people) * (day - clock)
            new, left = _treat(
                people, scenario, threshold - spent, day, again, chosen, first, first_session=False
            )
            resolved, threshold, clock = (
                np.where(again, new, resolved),
                np.where(again, left, threshold),
                np.where(again, day, clock),
            )
        latest, count = np.where(again, chosen, latest), count + again
    return Course(resolved, test_day, positive, session, family)


def _treat(people, scenario, threshold, day, treated, family, first, *, first_session):
    """When each resolves if treated on `day` with what is left of the threshold,
    and what is left of it after the jump."""
    if scenario.weibull:
        strength = np.array([variant.jump for variant in VARIANTS])[people.variant]
        return WEIBULL_DAYS * (threshold / strength) ** (1 / WEIBULL_SHAPE), threshold
    jump = np.array([variant.jump for variant in VARIANTS])[people.variant]
    by_family = np.array([variant.second_family for variant in VARIANTS])[people.variant] * (
        family == 1
    )
    by_change = np.array([variant.changed for variant in VARIANTS])[people.variant] * (
        family != first
    )
    jump = jump * np.exp(by_family if first_session else by_change)
    left = threshold - jump
    return np.where(left <= 0, day + AT_ONCE, day + np.maximum(left, 0) / _rates(people)), left


def _rates(people: People) -> np.ndarray:
    return np.array([variant.rate for variant in VARIANTS])[people.variant]


def _come(scenario: Scenario, k: int, ill: np.ndarray) -> np.ndarray | float:
    """Probability of coming to the k-th test."""
    if scenario.testing == "symptoms" and k == 0:
        return np.where(ill, EARLY_TEST[True], EARLY_TEST[False])
    return 0.75 if scenario.testing == "irregular" else 1.0


def _stay_away(scenario: Scenario, ill: np.ndarray) -> np.ndarray | float:
    """Probability of not coming back any more, at each test."""
    if scenario.loss == "informative":
        return np.where(ill, LOST_INFORMATIVE[True], LOST_INFORMATIVE[False])
    return float(scenario.loss)


def _expit(x: np.ndarray | float) -> np.ndarray:
    return 1 / (1 + np.exp(-np.asarray(x, float)))
