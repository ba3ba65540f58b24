"""Slips that a spreadsheet makes of a whole delivery, as functions from its typed tables to tables
with the slip; and clean deliveries to plant them in.

`python -m tests.unit.intake.slips 100` draws so many clean deliveries and says what is wrongly told
of them.
"""

import sys
from collections.abc import Callable
from functools import cache

import numpy as np
import pandas as pd

from pipeline.intake.plausible import find_implausible
from synthetic_data.pool import read_plan
from synthetic_data.scenario import Scenario
from synthetic_data.sites import TEN
from synthetic_data.tables import simulate_site

Tables = dict[str, pd.DataFrame]
Slip = Callable[[Tables], Tables]
SMALL = 60  # episodes


@cache
def draw_clean(seed: int) -> Tables:
    """One invented delivery without a fault, of a small clinic;
    the clinic differs with the seed."""
    return simulate_site(
        seed, Scenario(), TEN[seed % len(TEN)], SMALL, read_plan().maneuvers
    ).tables


def change(table: str, column: str, edit: Callable[[pd.Series], pd.Series]) -> Slip:
    """A slip that edits one column of one table."""
    return lambda tables: (
        tables | {table: tables[table].assign(**{column: lambda rows: edit(rows[column])})}
    )


def sort_alone(cells: pd.Series) -> pd.Series:
    """The cells in order, empty ones last, as a spreadsheet sorts a column."""
    return pd.Series(cells.sort_values(na_position="last").array, index=cells.index)


def turn(cells: pd.Series) -> pd.Series:
    """Right for left and left for right."""
    return cells.replace({"right": "left", "left": "right"})


def count_up(cells: pd.Series) -> pd.Series:
    """What dragging a cell with a number down makes of the cells below."""
    return pd.Series(np.arange(len(cells)) % 60 + 20, index=cells.index, dtype=cells.dtype)


def fill_with_zero(cells: pd.Series) -> pd.Series:
    """0 in every empty cell, and in each third, as if more were empty."""
    return cells.fillna(0).where(np.arange(len(cells)) % 3 > 0, 0)


def exchange(table: str, one: str, other: str) -> Slip:
    """Two columns under each other's header."""
    return lambda tables: (
        tables
        | {table: tables[table].assign(**{one: tables[table][other], other: tables[table][one]})}
    )


def empty(*names: str) -> Slip:
    """Tables of which only the header is left."""
    return lambda tables: tables | {name: tables[name].iloc[:0] for name in names}


def give_one_patient_two_ages(tables: Tables) -> Tables:
    """A patient of 12 and of 60 in one year."""
    episodes = tables["episodes"].copy()
    rows = episodes.index[:2]
    episodes.loc[rows, "patient_id"], episodes.loc[rows, "index_year"] = (
        episodes["patient_id"].iloc[0],
        2024,
    )
    episodes.loc[rows, "age_years"] = [12, 60]
    return tables | {"episodes": episodes}


def let_episodes_overlap(tables: Tables) -> Tables:
    """Two episodes of one patient in one year, of which one is treated for more than a year."""
    treated = tables["treatments"]["episode_id"].iloc[0]
    episodes = tables["episodes"].copy()
    rows = episodes.index[episodes["episode_id"].eq(treated)].union(episodes.index[-1:])
    for column in ("patient_id", "age_years"):
        episodes.loc[rows, column] = episodes.loc[rows[0], column]
    episodes.loc[rows, "index_year"] = 2024
    last = tables["treatments"].query("episode_id == @treated").iloc[[-1]]
    more = last.assign(day=400, attempt=last["attempt"] + 1)
    return tables | {
        "episodes": episodes,
        "treatments": pd.concat([tables["treatments"], more], ignore_index=True),
    }


def copy_episodes(tables: Tables) -> Tables:
    """Five episodes with times entered once more under another code."""
    tests = tables["examinations"]
    timed = tests.dropna(subset=["duration_s"])["episode_id"].value_counts()
    codes = timed.index[:5].tolist()
    again = {code: f"{code}-9" for code in codes}
    return {
        name: pd.concat(
            [
                rows,
                rows[rows["episode_id"].isin(codes)].assign(
                    episode_id=lambda r: r["episode_id"].replace(again)
                ),
            ],
            ignore_index=True,
        )
        for name, rows in tables.items()
    }


SLIPS: dict[
    str, tuple[Slip, str, str | None, str | None]
] = {  # name: slip, and the rule, table and column that are told
    "follow-up days turned negative": (
        change("followups", "day", lambda d: -d - 1),
        "contact_before_record",
        "followups",
        "day",
    ),
    "one follow-up day of -400": (
        change("followups", "day", lambda d: d.where(d.index != d.index[3], -400)),
        "contact_before_record",
        "followups",
        "day",
    ),
    "no order of tests": (
        change("examinations", "after_attempt", lambda n: n.mask(n.notna())),
        "order_untold",
        "examinations",
        "after_attempt",
    ),
    "durations in minutes": (
        change("examinations", "duration_s", lambda s: s / 60),
        "unit_unlikely",
        "examinations",
        "duration_s",
    ),
    "durations in milliseconds": (
        change("examinations", "duration_s", lambda s: s * 1000),
        "unit_unlikely",
        "examinations",
        "duration_s",
    ),
    "latencies in milliseconds": (
        change("examinations", "latency_s", lambda s: s * 1000),
        "unit_unlikely",
        "examinations",
        "latency_s",
    ),
    "positions held in minutes": (
        change("treatments", "hold_s", lambda s: s / 60),
        "unit_unlikely",
        "treatments",
        "hold_s",
    ),
    "latency and duration exchanged": (
        exchange("examinations", "latency_s", "duration_s"),
        "latency_above_duration",
        "examinations",
        "latency_s",
    ),
    "0 for a duration that was not recorded": (
        change("examinations", "duration_s", fill_with_zero),
        "zero_for_empty",
        "examinations",
        "duration_s",
    ),
    "0 for a velocity that was not recorded": (
        change("examinations", "peak_spv", fill_with_zero),
        "zero_for_empty",
        "examinations",
        "peak_spv",
    ),
    "0 for every onset": (
        change("episodes", "onset_day", lambda d: d * 0),
        "zero_for_empty",
        "episodes",
        "onset_day",
    ),
    "0 for an age that was not recorded": (
        change("episodes", "age_years", lambda a: a.where(a.index > a.index[4], 0)),
        "zero_for_empty",
        "episodes",
        "age_years",
    ),
    "0 for all totals of the inventory": (
        change("followups", "dhi_total", lambda p: p * 0),
        "zero_for_empty",
        "followups",
        "dhi_total",
    ),
    "9999 for a time of holding that was not recorded": (
        change("treatments", "hold_s", lambda s: s.where(np.arange(len(s)) % 9 > 0, 9999)),
        "code_for_missing",
        "treatments",
        "hold_s",
    ),
    "999 for a duration that was not recorded": (
        change("examinations", "duration_s", lambda s: s.where(np.arange(len(s)) % 9 > 0, 999)),
        "code_for_missing",
        "examinations",
        "duration_s",
    ),
    "test sides exchanged": (
        change("examinations", "side", turn),
        "sides_opposite",
        "examinations",
        "side",
    ),
    "torsion exchanged": (
        change("examinations", "torsion", turn),
        "sides_opposite",
        "examinations",
        "torsion",
    ),
    "recorded sides exchanged": (
        change("episodes", "recorded_side", turn),
        "sides_opposite",
        "episodes",
        "recorded_side",
    ),
    "treated sides exchanged": (
        change("treatments", "side", turn),
        "sides_opposite",
        "examinations",
        "side",
    ),
    "ages sorted alone": (
        change("episodes", "age_years", sort_alone),
        "sorted_alone",
        "episodes",
        "age_years",
    ),
    "canals sorted alone": (
        change("episodes", "recorded_canal", sort_alone),
        "sorted_alone",
        "episodes",
        "recorded_canal",
    ),
    "durations sorted alone": (
        change("examinations", "duration_s", sort_alone),
        "sorted_alone",
        "examinations",
        "duration_s",
    ),
    "days of tests sorted alone": (
        change("examinations", "day", sort_alone),
        "sorted_alone",
        "examinations",
        "day",
    ),
    "contacts' days sorted alone": (
        change("followups", "day", sort_alone),
        "sorted_alone",
        "followups",
        "day",
    ),
    "ages filled down": (
        change("episodes", "age_years", lambda a: a * 0 + 57),
        "filled_down",
        "episodes",
        "age_years",
    ),
    "ages counted up": (
        change("episodes", "age_years", count_up),
        "filled_down",
        "episodes",
        "age_years",
    ),
    "latencies filled down": (
        change("examinations", "latency_s", lambda s: s.fillna(2) * 0 + 2),
        "filled_down",
        "examinations",
        "latency_s",
    ),
    "a patient of 12 and of 60 in one year": (
        give_one_patient_two_ages,
        "ages_differ",
        "episodes",
        "age_years",
    ),
    "overlapping episodes": (let_episodes_overlap, "episodes_overlap", "episodes", "patient_id"),
    "episodes copied under another code": (
        copy_episodes,
        "episodes_alike",
        "examinations",
        "episode_id",
    ),
    "no examinations": (empty("examinations"), "table_without_rows", "examinations", None),
    "four empty tables": (
        empty("episodes", "examinations", "treatments", "followups"),
        "table_without_rows",
        None,
        None,
    ),
}


if __name__ == "__main__":
    doubts = {
        seed: sorted({p.rule for p in find_implausible(draw_clean(seed))})
        for seed in range(int(sys.argv[1]))
    }
    print(f"{sum(map(bool, doubts.values()))} of {len(doubts)} clean deliveries are doubted")
    for seed, rules in doubts.items():
        if rules:
            print(seed, *rules)
