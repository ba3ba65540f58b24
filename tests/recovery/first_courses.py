"""What became of vertigo after each first maneuver, and which sessions had an adverse event: the
truth of simulated pools.

As they are: the patients of very many sites who began with the family, under the care that was
given. Standardised: all patients of the variant, had they begun with it. The two are apart where
the choice went by what makes cases slow.
"""

from functools import cache

import numpy as np
import pandas as pd

from pipeline.analyses.order.session_harm import HARM
from pipeline.analyses.order.strategy import Strategy
from schemas.order_plan import FirstChoice, Strategies
from tests.recovery.habits import HABITS_BY_NAME
from tests.recovery.scenarios import SEED, VARIANTS
from tests.recovery.visits import Record, follow_by_hazards

PLACES = {"posterior_long_arm": 0, "lateral_geotropic": 2}  # of VARIANTS, by the plan's names
FURTHER_POOLS = range(20_000, 20_040)  # seeds of those whose true days are averaged: 480 sites
# chance of an adverse event in a session, the first one of an episode and later ones, by the place
# of its family among those of the variant; times what a site's own habit of recording makes of it
CHANCES = {True: (0.16, 0.10), False: (0.08, 0.12)}
RECORDING = (0.5, 1.5)


def harm_sessions(treatments: pd.DataFrame, seed: int) -> pd.DataFrame:
    """The same treatments, some of them with an adverse event."""
    rng = np.random.default_rng([SEED, 3, seed])
    sites, site = np.unique(treatments["site"], return_inverse=True)
    recording = rng.uniform(*RECORDING, len(sites))[site]
    second = treatments["maneuver"].isin(SECOND_FAMILIES).to_numpy(int)
    first = treatments["attempt"].eq(1).to_numpy(bool)
    chance = np.where(first, *(np.array(CHANCES[each])[second] for each in (True, False)))
    harmed = rng.random(len(treatments)) < chance * recording
    return treatments.assign(adverse=np.where(harmed, "nausea", treatments["adverse"]))


SECOND_FAMILIES = ("semont", "gufoni_geotropic")  # as they are delivered


def expect_harm(variant: str, strategy: Strategy, share: np.ndarray, plan: Strategies) -> float:
    """The mean number of sessions with an adverse event under a strategy, by its true course."""
    families = VARIANTS[PLACES[variant]].families
    given = share[np.arange(plan.sessions) * plan.retest_days]
    chances = [
        CHANCES[k == 0][families.index(family)]
        for k, family in enumerate(strategy.list_families(plan.sessions))
    ]
    return float(given @ chances)


HARM_TERMS = (HARM, f"difference_{HARM}")


@cache
def find_course_truths(scenario: str, plan: FirstChoice) -> dict[str, float]:
    """Of each cell of variant and family, by its stratum and term."""
    habits, truths = HABITS_BY_NAME[scenario], {}
    seeds = [np.random.default_rng([SEED, seed]).integers(2**32) for seed in FURTHER_POOLS]

    def draw(first: int | None) -> pd.DataFrame:
        records = [follow_by_hazards(habits, np.random.default_rng(s), first) for s in seeds]
        return pd.concat([_tell_days(record) for record in records], ignore_index=True)

    given = draw(None)
    for k in (0, 1):
        forced = draw(k)
        for variant, place in PLACES.items():
            stratum = f"variant={variant},family={VARIANTS[place].families[k]}"
            began = given[given["variant"].eq(place) & given["first"].eq(k)]
            for prefix, rows in (("", began), ("standardised_", forced)):
                days = rows.loc[rows["variant"].eq(place), "resolved"]
                for day in plan.days:
                    truths[f"{stratum} {prefix}resolved_by_day_{day}"] = float((days <= day).mean())
                mean = float(np.minimum(days, plan.horizon_day).mean())
                truths[f"{stratum} {prefix}mean_days_with_vertigo"] = mean
    return truths


def _tell_days(record: Record) -> pd.DataFrame:
    """The variant of each patient, the first family, and the day of resolution."""
    first = record.sessions.day == 0
    family = pd.Series(record.sessions.what["family"][first], record.sessions.who[first])
    return pd.DataFrame(
        {"variant": record.people.variant, "first": family, "resolved": record.resolved}
    )
