"""Slips of one column by itself: sorted without the rest of its rows,
or filled down from one cell."""

from collections.abc import Iterator, Mapping
from math import lgamma, log

import pandas as pd

from pipeline.intake.problem import Problem
from pipeline.intake.suspicion import Enough, suspect

Rows = Mapping[str, pd.DataFrame]
CHANCE = 1e-6  # that a column stands in order though its rows do not: below it, it was sorted
BEGINNING = 1_000  # cells
LEAST_EPISODES = 10  # from which on the order of episodes tells something
MEASURED = {
    "episodes": ("age_years", "onset_day"),
    "examinations": ("latency_s", "duration_s", "peak_spv", "spv_at_40s"),
    "treatments": (),  # angles and times of holding are often the same in all rows
    "followups": ("dhi_total", "vas_0_10"),
}
# not what follows the calendar, as years, goggles bought later, or a maneuver newly learned
OF_THE_PATIENT = {
    "episodes": (
        "sex",
        "prior_episodes",
        "cause",
        "recorded_canal",
        "recorded_side",
        "recorded_mechanism",
    ),
    "examinations": ("day", "side", "vertical", "torsion", "horizontal", "vertigo"),
    "treatments": ("day", "side", "adverse"),
    "followups": ("day", "positional_symptoms", "recurrence_reported", "end_of_followup"),
}
FILLED_DOWN = Enough(20, 0.2)  # neighbours of one value, or that count up by one


def find_unlikely_columns(rows: Rows) -> Iterator[Problem]:
    """Columns of a delivery that were sorted or filled down by themselves."""
    for table, measured in MEASURED.items():
        kept = keeps_order(table, rows)
        for column in (*measured, *OF_THE_PATIENT[table]):
            cells = rows[table][column].dropna()
            filled = find_longest_fill(cells) if column in measured else pd.Series(dtype=bool)
            if filling := suspect(
                "filled_down", table, column, filled, "filled cells", FILLED_DOWN
            ):
                yield from filling
            elif kept and is_sorted_unlikely(cells):
                also = f"All {len(cells):,} filled cells stand in order, and the rows do not."
                yield Problem("sorted_alone", table, None, column, also)


def keeps_order(table: str, rows: Rows) -> bool:
    """Whether the episodes of a table stand as they were entered: in the order of their codes or of
    another table, or grouped where each has several rows. A table that was sorted as a whole does
    not."""
    ids = rows[table]["episode_id"].dropna()
    first = ids.drop_duplicates()
    if len(first) < LEAST_EPISODES:
        return False
    if (ids != ids.shift()).sum() > len(first):
        return False
    if len(ids) >= 2 * len(first):
        return True
    place = pd.Series(range(len(first)), index=first)
    others = [rows[name]["episode_id"].dropna().drop_duplicates() for name in rows if name != table]
    orders = [place.reindex(other).dropna() for other in (first.sort_values(), *others)]
    return any(len(order) >= LEAST_EPISODES and order.is_monotonic_increasing for order in orders)


def is_sorted_unlikely(cells: pd.Series) -> bool:
    """Whether cells stand in rising or falling order as chance hardly ever puts them.

    Parameters
    ----------
    cells
        The filled cells of a column, in the order of the rows.

    Returns
    -------
    bool
        True if they stand in order and the probability of that, 2 n_1! n_2! ... / n! with n_v cells
        of the v-th value and n in all, is below CHANCE.
    """
    # where the first are not in order, the others need not be looked at
    for part in (cells.head(BEGINNING), cells):
        codes = pd.Series(pd.factorize(part, sort=True)[0])
        if not (codes.is_monotonic_increasing or codes.is_monotonic_decreasing):
            return False
    orders = lgamma(len(codes) + 1) - sum(lgamma(number + 1) for number in codes.value_counts())
    return log(2) - orders < log(CHANCE)


def find_longest_fill(cells: pd.Series) -> pd.Series:
    """For each cell whether it belongs to the longest row of neighbours with one value other than
    0, or that count up by one."""
    step = cells.astype("float64").diff()
    best = pd.Series(False, index=cells.index)
    for same, usable in (
        (step.eq(0), cells.ne(0)),
        (step.eq(1), pd.Series(True, index=cells.index)),
    ):
        runs = (~same).cumsum()
        length = runs.map(runs[usable].value_counts()).fillna(0)
        if length.max() > best.sum():
            best = runs.eq(runs[length.idxmax()])
    return best
