"""What each answer should have been: in closed form, or by drawing very many patients,
each from a site of its own, none of them lost.

A truth is that of the clinics these stand for, not of the few that were drawn. Its own error is
below 0.001 for shares.
"""

import math
from functools import cache

import numpy as np

from pipeline.derivation.first_events import CAUSES
from tests.recovery.events import draw_first_events
from tests.recovery.scenarios import (
    BY_NAME,
    LONG_ONSET,
    PER_DECADE,
    RETURN_RATE,
    SEED,
    VARIANTS,
    WEIBULL_SHAPE,
    Scenario,
)
from tests.recovery.simulate import Course, People, draw_course, draw_people
from tests.recovery.totals import draw_totals

PATIENTS = 400_000
SITE_POINTS, PER_POINT = 15, 30_000  # sites at the points of a quadrature, and patients of each
HANDICAP_DAYS, FALLS = (7, 30, 90), (11, 18)
CURVE_DAYS, POOLING_DAYS, RETURN_DAYS, SECOND_DAYS = (1, 7, 14, 30), (7, 30), (30, 90, 180), (7, 30)
GAP = 14
NO_EFFECT = (
    "sex=male against sex=female",
    "prior=one against prior=none",
    "prior=two or more against prior=none",
)
LATERAL_GEOTROPIC = 2  # its place in VARIANTS


def find_truths(name: str) -> dict[tuple[str, str], float]:
    """The truth of each (analysis, term) in a scenario; terms without an entry have none."""
    scenario = BY_NAME[name]
    truths = {
        "curves": share_resolved(scenario),
        "recurrence": {
            f"all recurrence_free_day_{day}": math.exp(-RETURN_RATE * (day - GAP))
            for day in RETURN_DAYS
        },
        "site_pooling": average_sites(scenario),
        "attempts": describe_attempts(scenario),
        "regression": state_time_ratios(scenario),
        "second_line": compare_choices(scenario),
        "competing_events": count_first_events(scenario),
        "handicap": average_totals(scenario),
    }
    return {
        (analysis, term): float(value)
        for analysis, terms in truths.items()
        for term, value in terms.items()
    }


@cache
def draw_population(scenario: Scenario, second: int | None = None) -> tuple[People, Course]:
    """Patients and their courses; the same patients and the same luck whatever `second` is."""
    rng = np.random.default_rng([SEED, scenario.truth_seed])
    people = draw_people(scenario, np.arange(PATIENTS), rng.standard_normal(PATIENTS), rng)
    return people, draw_course(people, scenario, GAP, rng, second=second, lost=False)


def share_resolved(scenario: Scenario) -> dict[str, float]:
    """Shares truly resolved by each day, of all and of parts of the pool."""
    people, course = draw_population(scenario)
    canal = np.array([variant.canal for variant in VARIANTS])[people.variant]
    parts = {
        "all": slice(None),
        "canal=lateral": canal == "lateral",
        "canal=anterior": canal == "anterior",
    }
    return {
        f"{part} resolved_by_day_{day}": float((course.resolved[rows] <= day).mean())
        for part, rows in parts.items()
        for day in CURVE_DAYS
    }


def average_sites(scenario: Scenario) -> dict[str, float]:
    """Mean over sites of the shares themselves (`resolved`),
    and on the complementary log-log scale, as a share (`smoothed`)."""
    points, weights = np.polynomial.hermite_e.hermegauss(SITE_POINTS)
    weights = weights / weights.sum()
    rng = np.random.default_rng([SEED, 1, scenario.truth_seed])
    site = np.repeat(np.arange(SITE_POINTS), PER_POINT)
    people = draw_people(scenario, site, points[site], rng)
    course = draw_course(people, scenario, GAP, rng, lost=False)
    truths = {}
    for day in POOLING_DAYS:
        share = np.bincount(site, course.resolved <= day) / PER_POINT
        share = np.clip(share, 0.5 / PER_POINT, 1 - 0.5 / PER_POINT)
        effect = np.log(-np.log1p(-share))
        truths[f"all resolved_by_day_{day}"] = float(weights @ share)
        truths[f"all smoothed_by_day_{day}"] = float(-np.expm1(-np.exp(weights @ effect)))
    return truths


def state_time_ratios(scenario: Scenario) -> dict[str, float]:
    """Logarithms of time ratios: 0 for what has no effect; the others where times are Weibull
    (Kalbfleisch & Prentice 2002, section 2.2.2)."""
    none = dict.fromkeys((f"log time ratio, {term}" for term in NO_EFFECT), 0.0)
    if not scenario.weibull:
        return none
    first = VARIANTS[0]
    arms = {
        (
            f"log time ratio, canal_arm={v.canal} {v.arm} against canal_arm={first.canal} "
            f"{first.arm}"
        ): np.log(first.jump / v.jump) / WEIBULL_SHAPE
        for v in VARIANTS[1:]
    }
    onset = "log time ratio, onset={} against onset=0-7 days"
    bands = {
        onset.format("8-30 days"): 0.0,
        onset.format("31-90 days"): -LONG_ONSET / WEIBULL_SHAPE,
    }
    return (
        none
        | arms
        | bands
        | {"log time ratio, age_decade against one less": -PER_DECADE / WEIBULL_SHAPE}
    )


def describe_attempts(scenario: Scenario) -> dict[str, float]:
    """Log hazard ratios within patients, the standard deviation of patients,
    and the share of first attempts followed by a negative test."""
    _, course = draw_population(scenario)
    seen = ~np.isnan(course.test_day)
    first = np.argmax(seen, axis=1)
    tested = seen.any(axis=1)
    success = ~course.positive[np.arange(len(first)), first][tested]
    ratios = dict.fromkeys(NO_EFFECT, 0.0) | {
        "onset=8-30 days against onset=0-7 days": 0.0,
        "onset=31-90 days against onset=0-7 days": LONG_ONSET,
        "age_decade against one decade younger": PER_DECADE,
    }
    return {
        "attempt_number=1 success_raw": success.mean(),
        "model=mixed patient_sd": scenario.patient_sd,
        **{f"log hazard ratio, {term}": ratio for term, ratio in ratios.items()},
    }


def compare_choices(scenario: Scenario) -> dict[str, float]:
    """By how much more are resolved some days after the second session,
    if all whose first session failed change rather than repeat."""
    people, _ = draw_population(scenario)
    shares = {}
    for second in (0, 1):
        _, course = draw_population(scenario, second)
        sessions = np.sort(course.session, axis=1)
        seen = ~np.isnan(course.test_day)
        failed = course.positive[np.arange(len(seen)), np.argmax(seen, axis=1)] & ~np.isnan(
            sessions[:, 1]
        )
        parts = {
            "all": failed,
            "variant=lateral_geotropic": failed & (people.variant == LATERAL_GEOTROPIC),
        }
        for part, rows in parts.items():
            for day in SECOND_DAYS:
                shares[part, day, second] = (
                    course.resolved[rows] - sessions[rows, 1] <= day
                ).mean()
    return {
        f"{part} risk_difference_day_{day} against repeat": shares[part, day, 1]
        - shares[part, day, 0]
        for part in ("all", "variant=lateral_geotropic")
        for day in SECOND_DAYS
    }


def count_first_events(scenario: Scenario) -> dict[str, float]:
    """The share that has met each event as the first one by each day."""
    _, course = draw_population(scenario)
    day, cause = draw_first_events(course, np.random.default_rng([SEED, 2, scenario.truth_seed]))
    return {
        f"all incidence_{name}_day_{until}": float(((day <= until) & (cause == k)).mean())
        for k, name in enumerate(CAUSES)
        for until in CURVE_DAYS
    }


def average_totals(scenario: Scenario) -> dict[str, float]:
    """Mean totals on each day and how they change, the shares that fell, and, where tests fall on
    planned days, what those whose resolution had been seen by day 30 have more than the others."""
    people, course = draw_population(scenario)
    days = (0, *HANDICAP_DAYS)
    rng = np.random.default_rng([SEED, 3, scenario.truth_seed])
    totals = draw_totals(
        people, course, np.broadcast_to(np.array(days, float), (PATIENTS, len(days))), rng
    )
    lateral = np.array([variant.canal == "lateral" for variant in VARIANTS])[people.variant]
    truths = {}
    for part, rows in (("all", slice(None)), ("canal=lateral", lateral)):
        means = totals[rows].mean(axis=0)
        truths |= {f"{part} mean_day_{day}": mean for day, mean in zip(days, means, strict=True)}
        truths |= {
            f"{part} change_by_day_{day}": mean - means[0]
            for day, mean in zip(days[1:], means[1:], strict=True)
        }
    for fall in FALLS:
        fell = (totals[:, :1] - totals[:, 1:] >= fall).mean(axis=0)
        truths |= {
            f"all fell_by_{fall}_by_day_{day}": share
            for day, share in zip(days[1:], fell, strict=True)
        }
    if scenario.testing == "planned":
        seen = ((course.test_day <= 30) & (course.test_day >= course.resolved[:, None])).any(axis=1)
        at_30 = totals[:, days.index(30)]
        truths["all difference_near_day_30"] = at_30[seen].mean() - at_30[~seen].mean()
    return truths
