"""How a number leaves: rounded as its kind is declared, so that nothing can be worked out from its
last digits.

A count leaves as a multiple of `round_counts` of the plan: with tens, one rounded number from
another never proves that 1 to 10 people are between them, be they two tables of one release or one
table of two. A share leaves in whole percent, or in steps of five where that would tell too much;
nearer to none or all than one in a hundred it has a digit more. Limits are rounded like their
number. A standard error, where one leaves, has two digits that count.
"""

import numpy as np
import pandas as pd

from schemas.notes import release_note
from schemas.study import round_count

STEP, COARSE = 0.01, 0.05  # of a share; of one that would tell too much
ROUNDED = ("estimate", "lower", "upper")
P_DECIMALS = 3
# columns that may hold a rounded count
COUNTED = ESTIMATE, EPISODES, EVENTS = ("estimate", "n_episodes", "n_events")


def round_released(safe: pd.DataFrame, described: pd.Series) -> pd.DataFrame:
    """The rows with their numbers rounded and their notes in declared sentences;
    results of papers stay as they are printed."""
    rounded = safe.copy()
    ours = described.notna()
    decimals = pd.Series(
        [what.kind.decimals if what else np.nan for what in described],
        index=safe.index,
        dtype="float",
    )
    shares = ours & decimals.isna()
    for column in ROUNDED:
        values = rounded[column].astype("float")
        for places in sorted(decimals[ours].dropna().unique()):
            selected = ours & decimals.eq(places)
            values[selected] = values[selected].round(int(places))
        values[shares] = round_shares(values[shares].to_numpy())
        rounded[column] = values.astype(rounded[column].dtype)
    errors = pd.Series([bool(what and what.kind.error) for what in described], index=safe.index)
    rounded.loc[ours & ~errors, "std_error"] = pd.NA
    rounded.loc[errors, "std_error"] = _round_to_two_digits(rounded.loc[errors, "std_error"])
    for column in ("p_value", "p_adjusted"):
        rounded.loc[ours, column] = rounded.loc[ours, column].round(P_DECIMALS)
    kept = rounded["status"].isin(["suppressed", "bounded"])  # their notes are this room's own
    kept |= described.map(lambda what: what.kind.fixed_notes, na_action="ignore").eq(True)
    to_reword = rounded.loc[ours & ~kept, ["note", "status"]]
    rounded.loc[to_reword.index, "note"] = [
        release_note(n, s)
        for n, s in zip(to_reword["note"].fillna(""), to_reword["status"], strict=True)
    ]
    return rounded


def round_counts(safe: pd.DataFrame, described: pd.Series, multiple: int) -> pd.DataFrame:
    """The same rows with all counts of people as multiples;
    results of papers stay as they are printed."""
    rounded = safe.copy()
    ours = described.notna()
    kinds = described.map(lambda what: what.quantity.kind, na_action="ignore")
    counts = kinds.eq("count") & safe["status"].eq("ok")
    columns = pd.Series("", index=safe.index)
    for column, applies in ((ESTIMATE, counts), (EPISODES, ours), (EVENTS, ours)):
        selected = applies & safe[column].notna()
        numbers = safe.loc[selected, column].astype(int)
        rounded.loc[selected, column] = round_count(numbers, multiple)
        columns[selected] += f" {column}"
    rounded["rounded"] = columns.str.strip().replace("", pd.NA).astype(rounded["rounded"].dtype)
    return rounded


def coarsen_shares(safe: pd.DataFrame, labels: list) -> pd.DataFrame:
    """The same rows, the shares of the `labels` in steps of COARSE, their limits outwards,
    and without how many have the event."""
    coarse = safe.copy()
    for column, to_whole in zip(ROUNDED, (np.round, np.floor, np.ceil), strict=True):
        steps = (coarse.loc[labels, column].astype(float) / COARSE).round(6)
        coarse.loc[labels, column] = to_whole(steps).mul(COARSE).round(2)
    coarse.loc[labels, "rounded"] = ESTIMATE + " " + coarse.loc[labels, "rounded"].fillna("")
    return drop_counts(coarse, labels, [EVENTS])


def drop_counts(safe: pd.DataFrame, labels: list, columns: list[str]) -> pd.DataFrame:
    """The same rows, those of the `labels` without the counts of these columns."""
    left = safe.copy()
    left.loc[labels, columns] = pd.NA
    for label in labels:
        remaining = [
            column for column in list_rounded(left.at[label, "rounded"]) if column not in columns
        ]
        left.at[label, "rounded"] = " ".join(remaining) or pd.NA
    return left


def list_rounded(rounded: object) -> list[str]:
    """The columns that hold rounded counts, as `rounded` of schemas.estimate.Estimates names
    them."""
    return [] if pd.isna(rounded) else str(rounded).split()


def unround_count(rounded: float, multiple: int) -> tuple[float, float]:
    """The least and the greatest count that is rounded to a multiple."""
    return rounded - multiple // 2, rounded + multiple // 2 - 1


def round_shares(shares: np.ndarray) -> np.ndarray:
    """Shares to whole steps, with a digit more within a hundredth of 0 and of 1."""
    near_end = (shares < STEP) | (shares > 1 - STEP)
    step = np.where(near_end, STEP / 10, STEP)
    return np.round(np.round(shares / step) * step, 5)


def is_coarse(rows: pd.DataFrame) -> np.ndarray:
    """Of which rows the share is in steps of COARSE."""
    return rows["rounded"].str.contains(ESTIMATE).fillna(False).to_numpy(bool)


def find_half_steps(shares: np.ndarray, coarse: np.ndarray) -> np.ndarray:
    """Find how far the number before rounding may lie from a released share.

    Parameters
    ----------
    shares
        Released shares, (shares,).
    coarse
        Which of them are in steps of COARSE, (shares,).

    Returns
    -------
    np.ndarray
        Half a step, (shares,).
    """
    near_end = (shares < STEP) | (shares > 1 - STEP)
    return np.where(coarse, COARSE / 2, np.where(near_end, STEP / 20, STEP / 2))


def _round_to_two_digits(numbers: pd.Series) -> list:
    return [
        number if pd.isna(number) or number == 0 else float(f"{number:.2g}") for number in numbers
    ]
