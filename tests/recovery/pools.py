"""Pools of known truth by habits of testing: delivered tables for any estimator, and beside them
what truly happened."""

import zlib
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from tests.recovery.debris import follow_debris
from tests.recovery.delivered import build_delivered, name_record
from tests.recovery.habits import HABITS_BY_NAME
from tests.recovery.scenarios import SEED, VARIANTS
from tests.recovery.visits import Record, follow_by_hazards

DAYS = (1, 7, 14, 30)
FURTHER_POOLS = range(10_000, 10_080)  # seeds of those whose true days are averaged: 960 sites


@dataclass(frozen=True)
class Truth:
    """What no estimator may see.

    `days` has one row an episode: site, episode_id, canal, arm, mechanism and resolved_day, from
    which it is resolved (infinite: not by the end). `tests` has site, episode_id, day, planned
    (else self-chosen), unresolved (truly) and positive (as read), from day 1 on.
    """

    days: pd.DataFrame
    tests: pd.DataFrame

    def share(self, day: int) -> float:
        """The share of this pool that is resolved by the day, under the care that was given."""
        return float(self.days["resolved_day"].le(day).mean())

    def share_by_site(self, day: int) -> pd.Series:
        """The same of each site."""
        return self.days["resolved_day"].le(day).groupby(self.days["site"]).mean()


def draw_pool(scenario: str, seed: int) -> tuple[dict[str, pd.DataFrame], Truth]:
    """One pool of 1,500 episodes of 12 sites: the tables as they are delivered (as the warehouse
    has them, for pipeline.derivation.tables.derive_tables; `planned_days` has the usual days of
    testing again), and the truth. The same seed draws the same pool."""
    record = draw_record(scenario, seed)
    return build_delivered(record), tell_truth(record)


def draw_record(scenario: str, seed: int) -> Record:
    """The pool as it was simulated."""
    habits = HABITS_BY_NAME[scenario]
    rng = np.random.default_rng([SEED, zlib.crc32(scenario.encode()), seed])
    return follow_debris(habits, rng) if habits.kind == "debris" else follow_by_hazards(habits, rng)


def tell_truth(record: Record) -> Truth:
    """The truth of a simulated pool."""
    names, tests = name_record(record), record.tests
    variant = [VARIANTS[v] for v in record.people.variant]
    parts = {key: [getattr(v, key) for v in variant] for key in ("canal", "arm", "mechanism")}
    days = names.assign(**parts, resolved_day=record.resolved)
    later = tests.day > 0
    who, day = tests.who[later], tests.day[later]
    people = names.iloc[who].reset_index(drop=True)
    return Truth(
        days,
        people.assign(
            day=day,
            planned=tests.what["planned"][later],
            unresolved=record.resolved[who] > day,
            positive=tests.what["positive"][later],
        ),
    )


@cache
def expect_shares(scenario: str) -> pd.DataFrame:
    """Shares by DAYS (columns) at each of very many sites of the scenario (rows): those which a
    pool's sites stand for."""
    shares = []
    for seed in FURTHER_POOLS:
        record = draw_record(scenario, seed)
        frame = pd.DataFrame({day: record.resolved <= day for day in DAYS})
        shares.append(frame.groupby(record.people.site).agg(["mean", "size"]))
    return pd.concat(shares)


@cache
def expect_parts(scenario: str, parts: tuple[str, ...]) -> dict[str, float]:
    """Shares by DAYS of all patients of very many sites that have one value of a part (canal, arm
    or mechanism, as planted), by `part=value resolved_by_day_day`."""
    days = [tell_truth(draw_record(scenario, seed)).days for seed in FURTHER_POOLS]
    people = pd.concat(days, ignore_index=True)
    return {
        f"{part}={value} resolved_by_day_{day}": float(rows["resolved_day"].le(day).mean())
        for part in parts
        for value, rows in people.groupby(part)
        for day in DAYS
    }
