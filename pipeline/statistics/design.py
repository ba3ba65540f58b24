"""Guarded designs: classes of too few are counted together.

A column that follows from the others has no coefficient.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from pipeline.statistics.guard import Refusal, check_size
from pipeline.statistics.tidy import count_sites
from schemas.keys import EPISODE
from schemas.study import Guards

OTHER = "other classes"
NO_NUMBERS: Mapping[str, float] = MappingProxyType({})
FOLLOWS = Refusal("not_identified", "follows from the other terms")
# of a column of zeros and ones that another one makes up: less is the handful in which they differ
PART = 0.1


@dataclass(frozen=True)
class Design:
    """A design without intercept, one row for each row of data, same index.

    Attributes
    ----------
    matrix
        One column for each class but the reference, named `term=class`, or for a numeric term.
    unnamed
        The columns of classes that even together are too few for a number: with them in a fit the
        reference holds nobody else.
    references
        The reference class of each term.
    refused
        For each class or term that has no coefficient of its own why.
    counts
        For each column of `matrix` the episodes, events and sites behind it.
    shared
        For a column the refused ones that nothing tells apart from it.
    """

    matrix: pd.DataFrame
    unnamed: pd.DataFrame
    references: dict[str, str]
    refused: dict[str, Refusal]
    counts: pd.DataFrame
    shared: dict[str, list[str]]


def build_design(
    rows: pd.DataFrame,
    terms: tuple[str, ...],
    events: pd.Series,
    guards: Guards,
    *,
    numeric: Mapping[str, float] = NO_NUMBERS,
    binary: bool = False,
) -> Design:
    """Build the design of some terms, with the guards on small classes.

    Classes with too few are counted together as `term=other classes`, without a name where even
    together they are too few: no row is left out. A term with one class left is refused, and so is
    a column that follows from the others. The most frequent class is the reference.

    Parameters
    ----------
    rows
        Data with a column `site` and no gap in the terms.
    terms
        Columns that enter.
    events
        Who had the event (boolean, same index); it serves the guards only.
    guards
        Thresholds of size.
    numeric
        For each term that enters as a number the value that counts as zero.
    binary
        Whether a class also needs episodes without the event.

    Returns
    -------
    Design
        Its columns, and what was refused.

    Raises
    ------
    ValueError
        Where a term has a gap.
    """
    if rows[list(terms)].isna().any(axis=None):
        raise ValueError("a covariate has a gap: what is not recorded must be a class of its own")
    refused: dict[str, Refusal] = {}
    columns: dict[str, np.ndarray] = {}
    unnamed: dict[str, np.ndarray] = {}
    references: dict[str, str] = {}
    happened = events.loc[rows.index].to_numpy(bool)
    for term in terms:
        if term in numeric:
            columns[term] = rows[term].to_numpy(float) - numeric[term]
            continue
        codes, classes = pd.factorize(rows[term].astype(str), sort=True)
        members, names, small, enough = _pool_small_classes(
            codes, list(classes), happened, guards, binary
        )
        refused |= {f"{term}={value}": refusal for value, refusal in small.items()}
        if len(members) - (not enough) < 2:
            refused[term] = Refusal("not_identified", "one class only")
        if len(members) < 2:
            continue
        by_size = sorted(members, key=lambda name: (-members[name], name))
        references[term] = next(name for name in by_size if name != OTHER)
        for name in sorted(set(members) - {references[term]}):
            into = columns if enough or name != OTHER else unnamed
            into[f"{term}={name}"] = (names == name)[codes].astype(float)
    matrix = pd.DataFrame(columns | unnamed, index=rows.index)
    independent = _find_independent(matrix)
    named = [name for name in independent if name in columns]
    refused |= {name: FOLLOWS for name in columns if name not in independent}
    return Design(
        matrix[named],
        matrix[[name for name in independent if name in unnamed]],
        references,
        refused,
        _count(matrix[named], rows, happened, numeric),
        find_shared(matrix, independent),
    )


def find_shared(matrix: pd.DataFrame, kept: list[str]) -> dict[str, list[str]]:
    """Find for each column the other ones that it takes part in making up, with the intercept.

    A coefficient holds theirs too.

    Parameters
    ----------
    matrix
        All columns.
    kept
        Names of those that have a coefficient.

    Returns
    -------
    dict
        By kept column the names of the others.
    """
    basis = np.column_stack([np.ones(len(matrix)), matrix[kept].to_numpy(float)])
    shared: dict[str, list[str]] = {}
    for name in matrix.columns.difference(kept, sort=False):
        part = np.linalg.lstsq(basis, matrix[name].to_numpy(float), rcond=None)[0][1:]
        for k in np.flatnonzero(np.abs(part) > PART):
            shared.setdefault(kept[k], []).append(name)
    return shared


def say_shared(design: Design, name: str) -> str | None:
    """Say which classes nothing tells apart from that of a column; None if there are none."""
    return (
        f"not told apart from {', '.join(design.shared[name])}" if name in design.shared else None
    )


def _pool_small_classes(
    codes: np.ndarray, classes: list[str], happened: np.ndarray, guards: Guards, binary: bool
) -> tuple[dict[str, int], np.ndarray, dict[str, Refusal], bool]:
    """The size of each class, those of too few episodes or events counted together.

    Then the name under which each of `classes`, of which `codes` tells the rows, is counted, the
    refusal of each that is too small, and whether together they are enough. A ratio of a class with
    hardly any event, or hardly any without, would have no end; raw shares are told of such classes
    too.
    """

    def judge(size: int, events: int) -> Refusal | None:
        return check_size(size, events, guards, size - events if binary else None)

    sizes = np.bincount(codes, minlength=len(classes)).tolist()
    events = np.bincount(codes[happened], minlength=len(classes)).tolist()
    counted = list(zip(classes, sizes, events, strict=True))
    small = {name: refusal for name, *count in counted if (refusal := judge(*count))}
    together = zip(*(count for name, *count in counted if name in small), strict=True)
    names = np.array([OTHER if name in small else name for name in classes], object)
    members: dict[str, int] = {}
    for name, size in zip(names, sizes, strict=True):
        members[name] = members.get(name, 0) + size
    return members, names, small, not small or judge(*map(sum, together)) is None


def _find_independent(matrix: pd.DataFrame) -> list[str]:
    """The columns that do not follow from the intercept and the columns before them."""
    distinct = matrix.drop_duplicates().to_numpy(float)
    patterns = np.column_stack([np.ones(len(distinct)), distinct])
    triangle = (
        np.abs(np.diag(np.linalg.qr(patterns, mode="r")))
        if len(patterns) >= matrix.shape[1] + 1
        else None
    )
    if triangle is not None and triangle.min(initial=1) > 1e-8 * triangle.max(initial=1):
        return list(matrix)
    chosen: list[str] = []
    basis = np.ones((len(patterns), 1))
    for k, name in enumerate(matrix, start=1):
        wider = np.column_stack([basis, patterns[:, k]])
        if np.linalg.matrix_rank(wider) == wider.shape[1]:
            chosen, basis = [*chosen, name], wider
    return chosen


def _count(
    matrix: pd.DataFrame, rows: pd.DataFrame, happened: np.ndarray, numeric: Mapping[str, float]
) -> pd.DataFrame:
    """The episodes, events and sites behind each column."""
    keys, counts = rows.filter(EPISODE), {}
    for name, column in matrix.items():
        members = column.to_numpy() == 1 if name not in numeric else np.full(len(column), True)
        counts[name] = (
            int(members.sum()),
            int(happened[members].sum()),
            *count_sites(keys[members]).values(),
        )
    return pd.DataFrame.from_dict(
        counts, orient="index", columns=["n_episodes", "n_events", "n_sites", "by_site"]
    )
