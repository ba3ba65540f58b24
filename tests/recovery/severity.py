"""Pools in which how strong the vertigo still was at the examination that showed the failure
prompts the change of maneuver, and delays resolution.

Every episode had a first session that failed. At the failed examination the grade of vertigo, the
duration of nystagmus and its velocity follow a severity that nobody sees. The choice to change and
the time to resolution T, in days from the second session, depend on the three, on where the first
session was done and on the site, and on nothing else that they share:

    logit P(change) = habit + CHOICE . x,   log T = DAYS + DELAY . x + site + log(E) / SHAPE,

with E exponential, and x the grade, the logarithm of the duration, the velocity and home, each from
its mean; or, `by_threshold`, whether each of the first three is beyond a threshold, which no
straight line and none of the classes of the analysis has. A site that does not measure nystagmus
does not choose by it. Changing adds `effect` to log T of adherent debris and nothing otherwise.
Nobody has a third session, tests come whatever the course, and so no other fault is in the answers.
All figures are invented.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.optimize import brentq

from tests.recovery.delivered import NOTHING, store_rows
from tests.recovery.scenarios import SEED

TABLES = ("episodes", "examinations", "treatments", "followups", "set_aside")
GRADES = np.array(["none", "mild", "moderate", "severe"])
GRADED_AT = (-1.6, -0.4, 0.6)  # of the severity with its noise, between one grade and the next
DAYS, SHAPE = np.log(14.0), 0.8
# by grade, logarithm of the duration, velocity and home, each from its mean
CHOICE = np.array([0.8, 0.4, 0.4, 0.6])
DELAY = np.array([0.5, 0.3, 0.3, 0.4])
# of each part of the severity from its mean, and of how many it is beyond (about)
THRESHOLD, BEYOND, STEP = (0.0, 0.6, 0.6), (0.6, 0.25, 0.25), 1.6
HABIT_SD, SITE_SD, HABIT_DELAYS = 0.7, 0.2, 0.3
ADHERENT, AT_HOME, NOT_MEASURED = 0.35, 0.2, 0.2
LATER_TESTS = ((5, 9), (12, 17), (26, 34), (50, 70))  # days after the second session
MISSED = 0.1
PLANTED = 0.15  # difference of shares resolved by PLANTED_DAY
PLANTED_DAY = 30
LARGE = 400_000  # patients behind a truth


@dataclass(frozen=True)
class Plan:
    """How large pools are, and what is planted: `effect` on log T of adherent debris, and whether
    severity works by thresholds."""

    name: str
    sites: int
    per_site: int
    effect: float = 0.0
    by_threshold: bool = False


def draw_people(plan: Plan, pools: int, rng: np.random.Generator) -> pd.DataFrame:
    """Who stood at the choice in so many pools, one row each: what was known, who `changed`, and
    the days to resolution after `repeat` and after `change`."""
    sites = pools * plan.sites
    site = np.repeat(np.arange(sites), plan.per_site)
    n = len(site)
    severity, adherent = rng.standard_normal(n), rng.random(n) < ADHERENT
    grade = np.digitize(severity + 0.6 * rng.standard_normal(n), GRADED_AT)
    spread = 0.7 * severity + 0.7 * rng.standard_normal((2, n))
    at_home = rng.random(n) < AT_HOME
    strong = [grade - 1.7, *spread]
    if plan.by_threshold:
        beyond = zip(strong, THRESHOLD, BEYOND, strict=True)
        strong = [STEP * ((value > least) - part) for value, least, part in beyond]
    x = np.column_stack([*strong, at_home - AT_HOME])
    measured = (rng.random(sites) >= NOT_MEASURED)[site]
    known = np.where(measured[:, None] | [True, False, False, True], x, 0)
    habit = rng.standard_normal(sites)[site]
    slow = SITE_SD * rng.standard_normal(sites)[site] + HABIT_DELAYS * habit
    changed = rng.random(n) < 1 / (1 + np.exp(-(HABIT_SD * habit + known @ CHOICE)))
    repeat = np.exp(DAYS + x @ DELAY + slow) * rng.exponential(size=n) ** (1 / SHAPE)
    return pd.DataFrame(
        {
            "site": [f"S{1 + s:03d}" for s in site],
            "pool": site // plan.sites,
            "episode_id": [f"EP-{i:06d}" for i in range(n)],
            "adherent": adherent,
            "grade": grade,
            "seconds": np.where(adherent, 90, 15) * np.exp(0.35 * spread[0]),
            "velocity": 25 * np.exp(0.5 * spread[1]),
            "measured": measured,
            "at_home": at_home,
            "changed": changed,
            "repeat": repeat,
            "change": repeat * np.exp(plan.effect * adherent),
        }
    )


def find_effect(planted: float) -> float:
    """The effect on log T by which PLANTED_DAY sees a difference of `planted` in adherent debris,
    of very many sites."""
    people = draw_people(Plan("", LARGE // 40, 40), 1, np.random.default_rng([SEED, 0]))
    days = people.loc[people["adherent"], "repeat"].to_numpy()

    def miss(effect: float) -> float:
        gained = (days * np.exp(effect) <= PLANTED_DAY).mean() - (days <= PLANTED_DAY).mean()
        return float(gained - planted)

    return brentq(miss, -3, 0, xtol=1e-4) if planted else 0.0


def tell_truths(plan: Plan, days: tuple[int, ...]) -> dict[tuple[str, int], float]:
    """The difference of shares resolved, change minus repeat, of all and of adherent debris, by
    each day, of very many sites."""
    large = replace(plan, sites=LARGE // 40, per_site=40)
    people = draw_people(large, 1, np.random.default_rng([SEED, 1]))
    parts = {"all": people, "adherent_debris": people[people["adherent"]]}
    return {
        (stratum, day): float((part["change"] <= day).mean() - (part["repeat"] <= day).mean())
        for stratum, part in parts.items()
        for day in days
    }


def draw_pools(plan: Plan, pools: int, seed: int) -> tuple[dict[str, pd.DataFrame], pd.Series]:
    """Several pools in one: the tables as they are delivered and stored, and the number of the pool
    by site. The same seed draws the same pools."""
    rng = np.random.default_rng([SEED, 2, seed])
    people = draw_people(plan, pools, rng)
    names = people[["site", "episode_id"]]
    failed = rng.integers(3, 13, len(people))
    second = failed + np.where(rng.random(len(people)) < 0.8, 0, rng.integers(1, 5, len(people)))
    resolved = second + np.where(people["changed"], people["change"], people["repeat"])
    tests = [_test(people, np.zeros(len(people), int)), _test(people, failed, seen=True)]
    ended = np.zeros(len(people), bool)
    for first, last in LATER_TESTS:
        day = second + rng.integers(first, last + 1, len(people))
        came = ~ended & (rng.random(len(people)) >= MISSED)
        well = came & (day >= resolved)
        tests += [_test(people, day)[came & ~well], _test(people, day, well=True)[well]]
        ended |= well
    examinations = pd.concat(tests).sort_values(["site", "episode_id", "day"], ignore_index=True)
    home = np.where(people["at_home"], "home", "clinic")
    by = np.where(people["at_home"], "self_unsupervised", "clinician")
    sessions = [
        names.assign(day=0, attempt=1, maneuver="epley", setting=home, performed_by=by),
        names.assign(
            day=second,
            attempt=2,
            maneuver=np.where(people["changed"], "semont", "epley"),
            setting="clinic",
            performed_by="clinician",
        ),
    ]
    treatments = pd.concat(sessions).assign(side="right", completed="yes", adverse="none")
    episodes = names.assign(
        patient_id=names["episode_id"].str.replace("EP", "PT"),
        age_years=60,
        sex="female",
        index_year=2024,
        onset_day=-5,
        prior_episodes=0,
        cause="idiopathic",
        recorded_canal="posterior",
        recorded_side="right",
        recorded_arm="unknown",
        recorded_mechanism=np.where(people["adherent"], "cupulolithiasis", "canalolithiasis"),
        other_diagnosis="none",
    )
    rows = (episodes, examinations, treatments.sort_values(["site", "episode_id", "attempt"]))
    empty = {"followups": names.iloc[:0], "set_aside": pd.DataFrame()}
    tables = dict(zip(TABLES, rows, strict=False)) | empty
    stored = {
        name: store_rows(name, table.reset_index(drop=True)) for name, table in tables.items()
    }
    return stored, people.groupby("site")["pool"].first()


def _test(
    people: pd.DataFrame, day: np.ndarray, *, seen: bool = False, well: bool = False
) -> pd.DataFrame:
    """The Dix-Hallpike test of each on a day: with the planted signs where it is the failed
    examination (`seen`), with usual ones otherwise, and with none of who is `well`."""
    usual = np.where(people["adherent"], 90, 20)
    shown = {
        "vertical": "up",
        "torsion": "right",
        "horizontal": "none",
        "duration_s": np.round(people["seconds"]).where(people["measured"]) if seen else usual,
        "peak_spv": np.round(people["velocity"]).where(people["measured"]) if seen else 30,
        "vertigo": GRADES[people["grade"]] if seen else "moderate",
    }
    return people[["site", "episode_id"]].assign(
        day=day,
        examination=1,
        after_attempt=0,
        test="dix_hallpike",
        side="right",
        **NOTHING if well else shown,
    )
