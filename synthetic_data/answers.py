"""What the pool ought to answer: how soon each order of maneuvers would clear each variant,
had all of the pool's own patients been treated by it.

Each patient's hidden course is run anew under each order, with fresh luck: a session on day 0,
on the ear that the site would take it to be, carried out as well as usual; then weekly tests that
do not err, and the next session of the order as long as the vertigo is there.
"""

from collections.abc import Mapping
from itertools import repeat
from math import ceil

import numpy as np
import pandas as pd

from schemas.maneuver import Maneuver
from schemas.strata import THEN
from synthetic_data.clinicians import read_side
from synthetic_data.course import Course
from synthetic_data.effects import CHANCES
from synthetic_data.patients import Cases
from synthetic_data.scenario import VARIANTS, Scenario
from synthetic_data.signs import PATTERN_NAMES
from synthetic_data.sites import Site
from synthetic_data.treatment import FIRST, GROUP_OF, carry_out, choose_side

RETEST_DAYS, SESSIONS = 7, 4
DAYS = (1, 7, 30)
HORIZON_DAY = 30
LEAST_RUNS = 2_000  # of patients under each order, all patients equally often
USUAL = 2  # so many of the commonest first maneuvers of a variant are compared with all others


def list_orders(pattern: str, maneuvers: Mapping[str, Maneuver]) -> list[tuple[str, ...]]:
    """The orders of maneuvers for a variant, four sessions each: one of the commonest again and
    again, each other one likewise, one after the other, and the other way round.

    Of a family its commonest member is asked for, or else its most effective one.
    """
    first = FIRST[GROUP_OF[pattern]]
    common = sorted(first, key=first.__getitem__, reverse=True)[:USUAL]
    best: dict[str, str] = {}
    for maneuver in maneuvers:
        chance = CHANCES.get((maneuver, pattern), 0.0)
        family = maneuvers[maneuver].family
        if chance > CHANCES.get((best.get(family, ""), pattern), 0.0):
            best[family] = maneuver
    best |= {maneuvers[maneuver].family: maneuver for maneuver in common}
    listed = [(each,) * SESSIONS for each in best.values()]
    for usual in common:
        for other in best.values():
            if other != usual:
                listed += [
                    (usual, *repeat(other, SESSIONS - 1)),
                    (usual, usual, *repeat(other, SESSIONS - 2)),
                    (other, *repeat(usual, SESSIONS - 1)),
                ]
    return list(dict.fromkeys(listed))


def name_order(order: tuple[str, ...], maneuvers: Mapping[str, Maneuver]) -> str:
    """Its families in turn, the last of them again until negative."""
    families = [maneuvers[maneuver].family for maneuver in order]
    while len(families) > 1 and families[-1] == families[-2]:
        families.pop()
    return THEN.join(families)


def run_order(
    rng: np.random.Generator,
    scenario: Scenario,
    site: Site,
    cases: Cases,
    order: tuple[str, ...],
    maneuvers: dict[str, Maneuver],
) -> np.ndarray:
    """The day on which each case clears under an order of maneuvers, infinite for never."""
    course = Course(rng, scenario, site, cases, maneuvers)
    side = read_side(rng, site, cases.pattern, cases.side)
    who = np.arange(len(cases))
    for session, maneuver in enumerate(order):
        day = float(session * RETEST_DAYS)
        ill = who[course.resolved_at > day]
        given = np.full(len(ill), course.names.index(maneuver))
        attempt = np.full(len(ill), session + 1)
        ear = choose_side(rng, course.sided[given], side[ill], attempt)
        _, factor = carry_out(rng, site, np.array(course.names, dtype=object)[given])
        course.treat(ill, np.full(len(ill), day), given, ear, factor)
        until = np.inf if session + 1 == len(order) else day + RETEST_DAYS
        course.wait(who, np.full(len(who), day), np.full(len(who), until))
    return course.resolved_at


def tell_answers(
    seed: int,
    scenario: Scenario,
    patients: list[tuple[Site, Cases]],
    maneuvers: dict[str, Maneuver],
) -> pd.DataFrame:
    """What each order would do, one row per variant and order.

    Parameters
    ----------
    seed
        Of the pool.
    scenario
        The planted truth.
    patients
        The cases of each site.
    maneuvers
        Those that a delivery may name.

    Returns
    -------
    pd.DataFrame
        variant, strategy (families in turn, the last of them again until negative); `patients` who
        were treated; resolved_by_day_1, _7 and _30, and mean_days_with_vertigo in the first 30.
    """
    rows = []
    for pattern in VARIANTS:
        place = PATTERN_NAMES.index(pattern)
        treated = [
            (site, cases, np.flatnonzero((cases.pattern == place) & cases.treated))
            for site, cases in patients
        ]
        n_patients = sum(len(who) for _, _, who in treated)
        if not n_patients:
            continue
        runs = ceil(LEAST_RUNS / n_patients)
        members = [
            (site, cases.take(np.repeat(who, runs))) for site, cases, who in treated if len(who)
        ]
        for order in list_orders(pattern, maneuvers):
            rng = np.random.default_rng([seed, place])  # the same luck under each order
            resolved = np.concatenate(
                [run_order(rng, scenario, *each, order, maneuvers) for each in members]
            )
            rows.append(
                {
                    "variant": pattern,
                    "strategy": name_order(order, maneuvers),
                    "patients": n_patients,
                    **{f"resolved_by_day_{day}": np.mean(resolved <= day) for day in DAYS},
                    "mean_days_with_vertigo": np.clip(resolved, 0, HORIZON_DAY).mean(),
                }
            )
    return pd.DataFrame(rows).round(4)
