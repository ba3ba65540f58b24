"""Courses with a hidden end, drawn day by day: two habits, tests that the state brings about,
sessions after positive tests, misread tests, telephone calls, and reasons of tests if wanted."""

from dataclasses import replace

import numpy as np

from pipeline.statistics.hidden_end_model import (
    CHOSEN,
    NO_TEST,
    NOT_SEEN,
    PLANNED,
    TESTED,
    Courses,
    Prior,
    Sizes,
)

PRIOR = Prior(20.0, sensitivity=0.95, specificity=0.98)
POSITIVE, YES = {True: 0.95, False: 0.02}, {True: 0.9, False: 0.1}  # in the state, and out of it
HABITS = 5  # waiting for the usual day or not, in two places, and after a negative test


def draw(
    seed: int,
    people: int,
    days: int,
    *,
    reasons: bool = False,
    groups: tuple[float, ...] = (),
    keeping: float = 1.0,
) -> tuple[Courses, np.ndarray]:
    """The courses, and the true day of each end (days + 1: later). With `groups` the rate of the
    end is multiplied by that of the person's group; `keeping` is how much rarer planned tests
    are of those who are out of the state."""
    rng = np.random.default_rng(seed)
    place = rng.integers(0, 2, people)
    group = rng.integers(0, len(groups), people) if groups else np.zeros(people, int)
    strength = np.array(groups or (1.0,))[group]
    usual = np.array([1, 7])[place]
    shape = (people, days)
    jump, habit, coming = np.zeros(shape, int), np.zeros(shape, int), np.full(shape, NO_TEST)
    result, report = np.full(shape, NOT_SEEN), np.full(shape, NOT_SEEN)
    end = np.full(people, days + 1)
    since, cleared = np.zeros(people, int), np.zeros(people, bool)
    treated = np.full(people, True)
    for k in range(days):
        jump[:, k] = treated
        since = np.where(treated, 0, since) + 1
        lasting = end > days
        hazard = strength * (0.04 + 0.5 * treated)
        ends = lasting & (rng.random(people) < -np.expm1(-hazard))
        end[ends] = k + 1
        lasting &= ~ends
        due = since == usual
        habit[:, k] = np.where(cleared, 4, place * 2 + due)
        planned = np.where(cleared, 0.005, np.where(due, 1.2, 0.03))
        planned = np.where(lasting, planned, planned * keeping)
        chosen = np.where(lasting, 0.08, 0.01)
        came = rng.random(people) < -np.expm1(-(planned + chosen))
        by_plan = rng.random(people) < planned / (planned + chosen)
        known = np.where(by_plan, PLANNED, CHOSEN) if reasons else TESTED
        coming[:, k] = np.where(came, known, NO_TEST)
        positive = rng.random(people) < np.where(lasting, POSITIVE[True], POSITIVE[False])
        result[came, k] = positive[came]
        treated = came & positive
        cleared |= came & ~positive
        since = np.where(came, 0, since)
        called = rng.random(people) < 0.03
        report[called, k] = (rng.random(people) < np.where(lasting, YES[True], YES[False]))[called]
    courses = Courses(
        np.zeros(shape, int), jump, habit, coming, result, report, PRIOR, Sizes(1, 2, HABITS)
    )
    if groups:
        courses = replace(courses, group=group, sizes=Sizes(1, 2, HABITS, len(groups)))
    return courses, end
