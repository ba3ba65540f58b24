"""Time to resolution as an interval: resolution is only known to lie after the last positive and at
or before the first negative test."""

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import groupby

import numpy as np
import pandas as pd

from pipeline.derivation.states import DAY_KEY, find_states
from schemas.columns import Frame
from schemas.delivery import Episodes, Followups
from schemas.derived import Spells
from schemas.keys import EPISODE
from schemas.study import Resolution

# endpoints that are times
TIMED = ("objective", "every_canal", "composite", "patient_reported", "strict")


@dataclass(frozen=True)
class Interval:
    """One spell of one episode, in days from day 0.

    Attributes
    ----------
    start
        Day on which it begins.
    left
        Last day known to be unresolved.
    right
        First day known to be resolved; infinite while resolution has not been seen.
    last
        Last day on which anything was decided.
    """

    start: int
    left: int
    right: float
    last: int


def measure_spells(
    episodes: Frame[Episodes],
    tests: pd.DataFrame,
    of_every_canal: pd.DataFrame,
    followups: Frame[Followups],
    treated: pd.MultiIndex,
    incomplete: pd.MultiIndex,
    resolution: Resolution,
    endpoints: Collection[str] = TIMED,
) -> Frame[Spells]:
    """Measure the spells of every episode by each endpoint.

    Parameters
    ----------
    episodes
        All episodes.
    tests
        Deciding tests with `confirming`.
    of_every_canal
        The same of all canals, whichever is affected.
    followups
        Contacts with `confirming`.
    treated
        Site and episode_id of episodes with a treatment. Others have no day 0: they get a status
        and an interval without information.
    incomplete
        Those that have lost a test or a treatment to the set-aside rows; they get the same.
    resolution
        Days after which vertigo is a recurrence.
    endpoints
        Of TIMED.

    Returns
    -------
    Frame[Spells]
        One row for each episode, endpoint and spell.
    """
    states = _find_states_by_endpoint(tests, of_every_canal, followups, endpoints)
    spells = pd.concat(
        [
            _measure_endpoint(episodes, name, endpoint_states, resolution)
            for name, endpoint_states in states.items()
        ],
        ignore_index=True,
    )
    members = pd.MultiIndex.from_frame(spells[EPISODE])
    ever_positive = pd.MultiIndex.from_frame(tests.loc[tests["positive"], EPISODE])
    unusable = {
        "never_positive": ~members.isin(ever_positive) & spells["endpoint"].ne("patient_reported"),
        "untreated": ~members.isin(treated),
        "incomplete_record": members.isin(incomplete),
    }
    for status, rows in unusable.items():
        spells.loc[rows, ["left_days", "right_days", "last_test_days"]] = [0.0, np.inf, 0.0]
        spells.loc[rows, "status"] = status
    keep = ~(np.any(list(unusable.values()), axis=0) & spells["spell"].gt(1))
    return Spells.cast(spells[keep].sort_values([*EPISODE, "endpoint", "spell"], ignore_index=True))


def bound_spells(days: list[int], states: list[str], gap: int) -> Iterator[Interval]:
    """Bound the spells in one episode's states.

    The first spell starts on day 0. Vertigo less than `gap` days after the first negative day
    belongs to the same spell: that negative day was not its end. A later recurrence opens a new
    spell, which starts on the day it was seen.

    Parameters
    ----------
    days
        Days with a state, rising; those up to 0 are passed over.
    states
        `positive` or `negative` on each.
    gap
        Days.

    Yields
    ------
    Interval
        The spells in their order, one at least.
    """
    start = left = last = 0
    ended: int | None = None
    for day, state in zip(days, states, strict=True):
        if day <= 0:
            continue
        if state == "negative":
            ended = day if ended is None else ended
        else:
            if ended is not None and day - ended >= gap:
                yield Interval(start, left, ended, last)
                start = day
            left, ended = day, None
        last = day
    yield Interval(start, left, np.inf if ended is None else ended, last)


def _measure_endpoint(
    episodes: pd.DataFrame, endpoint: str, states: pd.DataFrame, resolution: Resolution
) -> pd.DataFrame:
    """The spells of all episodes by one endpoint; an episode without states has one spell without
    information."""
    seen = {key: list(rows) for key, rows in groupby(_list_rows(states), key=lambda row: row[:2])}
    rows = []
    for site, episode_id, patient_id in _list_rows(episodes[[*EPISODE, "patient_id"]]):
        timeline = seen.get((site, episode_id), [])
        days, kinds = [row[2] for row in timeline], [row[3] for row in timeline]
        for number, spell in enumerate(
            bound_spells(days, kinds, resolution.recurrence_gap), start=1
        ):
            times = (spell.left - spell.start, spell.right - spell.start, spell.last - spell.start)
            rows.append((site, episode_id, endpoint, number, patient_id, spell.start, *times))
    columns = [
        *EPISODE,
        "endpoint",
        "spell",
        "patient_id",
        "start_day",
        "left_days",
        "right_days",
        "last_test_days",
    ]
    spells = pd.DataFrame(rows, columns=columns).astype(dict.fromkeys(columns[-3:], "float"))
    tested_again = spells["last_test_days"].gt(0) | spells["spell"].gt(1)
    spells["status"] = np.select(
        [np.isfinite(spells["right_days"]), tested_again],
        ["resolved", "unresolved"],
        "not_tested_again",
    )
    return spells


def _find_states_by_endpoint(
    tests: pd.DataFrame,
    of_every_canal: pd.DataFrame,
    followups: pd.DataFrame,
    endpoints: Collection[str],
) -> dict[str, pd.DataFrame]:
    """The states of all episodes by each of `endpoints`."""
    objective, reported = (
        cache(lambda: find_states(tests)),
        cache(lambda: _find_reported_states(followups)),
    )
    finders: dict[str, Callable[[], pd.DataFrame]] = {
        "objective": objective,
        "every_canal": lambda: find_states(of_every_canal),
        "composite": lambda: find_states(tests.assign(positive=_is_left_by_composite(tests))),
        "patient_reported": reported,
        "strict": lambda: _require_both(objective(), reported()),
    }
    return {name: finders[name]() for name in endpoints}


def _list_rows(table: pd.DataFrame) -> Iterator[tuple]:
    """The rows as tuples: by way of plain lists, since the columns' own arrays are slow to walk."""
    return zip(*(table[column].to_numpy(object).tolist() for column in table), strict=True)


def _is_left_by_composite(tests: pd.DataFrame) -> pd.Series:
    """Nystagmus that neither went nor turned from apogeotropic to geotropic (as trials of
    apogeotropic forms count: Kim HA et al. J Neurol 2017)."""
    first = (
        tests[tests["nystagmus"]].sort_values([*DAY_KEY, "examination"]).drop_duplicates(EPISODE)
    )
    began_apogeotropic = pd.MultiIndex.from_frame(
        first.loc[first["horizontal"].eq("apogeotropic"), EPISODE]
    )
    turned = pd.MultiIndex.from_frame(tests[EPISODE]).isin(began_apogeotropic) & tests[
        "horizontal"
    ].eq("geotropic")
    return tests["nystagmus"] & ~turned


def _find_reported_states(followups: pd.DataFrame) -> pd.DataFrame:
    """States by what patients report; a symptom on a day outweighs a denial on the same day."""
    reports = followups[
        followups["positional_symptoms"].eq("yes")
        | (followups["positional_symptoms"].eq("no") & followups["confirming"])
    ]
    symptoms = (
        reports.assign(state=reports["positional_symptoms"].eq("yes"))
        .groupby(DAY_KEY)["state"]
        .any()
    )
    return symptoms.map({True: "positive", False: "negative"}).reset_index()


def _require_both(objective: pd.DataFrame, reported: pd.DataFrame) -> pd.DataFrame:
    """Positive where either is; negative where both are, on the same day."""
    both = objective.merge(reported, on=DAY_KEY, how="outer", suffixes=("_seen", "_told"))
    positive = both["state_seen"].eq("positive") | both["state_told"].eq("positive")
    negative = both["state_seen"].eq("negative") & both["state_told"].eq("negative")
    both["state"] = np.select([positive, negative], ["positive", "negative"], "open")
    return both.loc[both["state"].ne("open"), [*DAY_KEY, "state"]].sort_values(
        DAY_KEY, ignore_index=True
    )
