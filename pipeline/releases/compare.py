"""Two releases beside each other: which numbers moved by more than their own error, which questions
got or lost an answer, and what of data, plan and program differs."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.disclosure.protect import OWN
from pipeline.releases.package import ESTIMATES, Package
from schemas.columns import Frame
from schemas.estimate import Estimates
from schemas.notes import FIRST_YEAR, LAST_YEAR, NEWER

BEFORE, AFTER = "_before", "_after"
SHOWN = ["estimate", "lower", "upper", "n_episodes"]
# by name in what a release was made from: what people call it
CAUSES = {"deliveries": "the records", "plan": "the plan", "code": "the program"}


@dataclass(frozen=True)
class Comparison:
    """What differs between an earlier and a later release.

    Attributes
    ----------
    compared
        How many numbers with a 95 % confidence interval stand in both.
    moved
        Those of them whose later value lies outside the earlier interval: the key of a row of
        estimates, then `SHOWN` before and after.
    came, gone
        Keys that only the later, or only the earlier, has such a number for, with `SHOWN`.
    """

    compared: int
    moved: pd.DataFrame
    came: pd.DataFrame
    gone: pd.DataFrame


def compare_estimates(earlier: Frame[Estimates], later: Frame[Estimates]) -> Comparison:
    """Compare the numbers of two releases that have a 95 % confidence interval.

    Two releases share most of their records, so that a change of the same question by chance alone
    is smaller than between two pools: a value outside of the earlier interval is more than chance
    of the earlier one, and one within it is no proof that nothing changed.

    Parameters
    ----------
    earlier, later
        Released rows of all analyses.

    Returns
    -------
    Comparison
        Rows of single sites are left out: their letters are drawn for each release.
    """
    key = Estimates.key()
    before, after = (take_answers(rows).set_index(key)[SHOWN] for rows in (earlier, later))
    both = before.join(after, how="inner", lsuffix=BEFORE, rsuffix=AFTER)
    outside = both[f"estimate{AFTER}"].lt(both[f"lower{BEFORE}"]) | both[f"estimate{AFTER}"].gt(
        both[f"upper{BEFORE}"]
    )
    return Comparison(
        len(both),
        both[outside].reset_index(),
        after[~after.index.isin(before.index)].reset_index(),
        before[~before.index.isin(after.index)].reset_index(),
    )


def take_answers(rows: Frame[Estimates]) -> pd.DataFrame:
    """The rows with a usable number and both confidence limits, single sites left out."""
    of_sites = pd.Series(False, rows.index)
    for column in ("stratum", "term", "comparison"):
        of_sites |= rows[column].str.contains(OWN, regex=False).eq(True).fillna(False)
    usable = rows["status"].eq("ok") & rows[["lower", "upper"]].notna().all(axis=1)
    answers = rows[usable & ~of_sites].copy()
    gaps = answers[Estimates.key()].isna()
    answers[Estimates.key()] = answers[Estimates.key()].mask(gaps, "")
    return answers


def read_released(folder: Path) -> Frame[Estimates]:
    """The rows of all analyses in a folder of estimates."""
    return join_estimates(sorted(folder.glob("*.csv")))


def join_estimates(paths: Iterable[Path]) -> Frame[Estimates]:
    """The rows of files of estimates; columns that an earlier version did not have are empty."""
    columns = list(Estimates.describe())
    tables = [Estimates.cast(pd.read_csv(path).reindex(columns=columns)) for path in paths]
    return pd.concat(tables, ignore_index=True) if tables else Estimates.empty()


def compare_releases(earlier: Package, later: Package) -> Comparison:
    """Compare two kept releases."""
    return compare_estimates(
        read_released(earlier.folder / ESTIMATES), read_released(later.folder / ESTIMATES)
    )


def list_differences(earlier: Mapping[str, str], later: Mapping[str, str]) -> list[str]:
    """Which of `CAUSES` differ in what two releases were made from."""
    return [name for name in CAUSES if earlier.get(name) != later.get(name)]


def list_causes(earlier: Mapping[str, str], later: Mapping[str, str]) -> list[str]:
    """What differs in what two releases were made from, in words; libraries by their names."""
    changed = [CAUSES[name] for name in list_differences(earlier, later)]
    known = {"release", "version", FIRST_YEAR, LAST_YEAR, NEWER, *CAUSES}
    libraries = sorted((earlier.keys() | later.keys()) - known)
    return changed + [name for name in libraries if earlier.get(name) != later.get(name)]


def tabulate_comparison(compared: Comparison) -> pd.DataFrame:
    """All rows of a comparison in one table: `what` is moved, came or gone."""
    came = compared.came.rename(columns={name: f"{name}{AFTER}" for name in SHOWN})
    gone = compared.gone.rename(columns={name: f"{name}{BEFORE}" for name in SHOWN})
    tables = {"moved": compared.moved, "came": came, "gone": gone}
    columns = [
        *Estimates.key(),
        *(f"{name}{side}" for side in (BEFORE, AFTER) for name in SHOWN),
    ]
    filled = [
        rows.reindex(columns=columns).astype(object).assign(what=what)[["what", *columns]]
        for what, rows in tables.items()
        if len(rows)
    ]
    return (
        pd.concat(filled, ignore_index=True) if filled else pd.DataFrame(columns=["what", *columns])
    )
