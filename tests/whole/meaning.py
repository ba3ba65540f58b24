"""What the workflow answers on the demonstration pool, kept as a table, so that a change of any
answer shows as a short difference and is accepted on purpose.

python -m tests.whole.meaning RESULTS    accept what a run of the demonstration pool has estimated
"""

import sys
from pathlib import Path

import pandas as pd

from pipeline.analyses.plan import ANALYSES
from schemas.estimate import Estimates

TABLE = Path(__file__).parent / "demonstration_estimates.csv"
NUMBERS = ["estimate", "lower", "upper", "n_episodes", "n_events"]
KEPT = [*Estimates.key(), *NUMBERS, "status"]
# thousands of steps of curves, and of balances: their shares by day and differences are kept
LEFT_OUT = r"(?:unresolved_(?:upper|lower)_day|smd_|known_between|seen_)"
DIGITS = 5
# of the width of an interval or, without one, of the number: less than anybody could tell apart,
# more than libraries and processors differ in
TOLERATED = 0.005
SHOWN = 30


def gather(results: Path) -> pd.DataFrame:
    """The answers of a run before protection, in the form of the table."""
    tables = [
        Estimates.cast(pd.read_csv(results / "unreleased" / f"{name}.csv")) for name in ANALYSES
    ]
    rows = pd.concat(tables, ignore_index=True)
    rows = rows[~rows["term"].str.match(LEFT_OUT)][KEPT].reset_index(drop=True)
    for name in ("estimate", "lower", "upper"):
        rows[name] = [
            None if pd.isna(number) else float(f"{number:.{DIGITS}g}") for number in rows[name]
        ]
    return rows


def read_table() -> pd.DataFrame:
    """The table as it was accepted."""
    return pd.read_csv(TABLE)


def find_differences(accepted: pd.DataFrame, found: pd.DataFrame) -> list[str]:
    """A line for each answer that came, went, or differs, by analysis and key."""
    key = Estimates.key()
    before, after = (
        rows.assign(**{name: rows[name].fillna("").astype(str) for name in key}).set_index(key)
        for rows in (accepted, found)
    )
    lines = [f"gone: {_name(k)}" for k in before.index.difference(after.index)]
    lines += [f"new: {_name(k)}" for k in after.index.difference(before.index)]
    both = before.index.intersection(after.index)
    old, new = before.loc[both], after.loc[both]
    size = old["estimate"].astype(float).abs().fillna(0)
    width = (old["upper"].astype(float) - old["lower"].astype(float)).abs().fillna(size)
    scale = width.clip(lower=size / 100)
    differs = old["status"].ne(new["status"])
    for name in NUMBERS:
        one, other = old[name].astype(float), new[name].astype(float)
        differs |= one.isna().ne(other.isna())
        differs |= (one - other).abs().fillna(0).gt(TOLERATED * scale.clip(lower=1e-9) + 1e-9)
    for k in both[differs.to_numpy()]:
        lines.append(f"{_name(k)}: {_say(old.loc[k])} became {_say(new.loc[k])}")
    return lines


def _name(key: tuple[str, ...]) -> str:
    return " / ".join(part for part in key if part)


def _say(row: pd.Series) -> str:
    if row["status"] != "ok":
        return str(row["status"])
    limits = "" if pd.isna(row["lower"]) else f" ({row['lower']:g} to {row['upper']:g})"
    return f"{row['estimate']:g}{limits}, n {row['n_episodes']:g}"


def show(differences: list[str]) -> str:
    """The first differences and how many there are in which analyses."""
    analyses = pd.Series(
        [line.removeprefix("gone: ").removeprefix("new: ").split(" / ")[0] for line in differences]
    ).value_counts()
    counts = ", ".join(f"{name} {n}" for name, n in analyses.items())
    return "\n".join(
        [
            f"{len(differences)} answers of the demonstration pool differ ({counts}). If that is "
            "meant: python -m tests.whole.meaning RESULTS",
            *differences[:SHOWN],
        ]
    )


if __name__ == "__main__":
    gather(Path(sys.argv[1])).to_csv(TABLE, index=False)
