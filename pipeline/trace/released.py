"""The row of a release that a number stands in, found by names; of a name that is none, what may
have been meant."""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

import pandas as pd

from pipeline.releases.package import ESTIMATES, Package
from schemas.declared import DECLARED, PLAN
from schemas.strata import WHOLE

# of a row's key those that a word `endpoint=strict` narrows; other words are parts of its stratum
COLUMNS = ("population", "endpoint", "comparison")
MOST_NAMES = 12


class NoSuchRow(Exception):
    """A release has no such number; the message is a sentence that says what may be meant."""


@dataclass(frozen=True)
class Printed:
    """One row of a release, as its file has it.

    Attributes
    ----------
    path, line
        The file within the release, and the line in it.
    row
        By column what is printed there, empty where nothing is.
    """

    path: str
    line: int
    row: dict[str, str]

    @property
    def key(self) -> tuple[str, str]:
        """Its stratum and term, which say what is declared of it."""
        return self.row["stratum"], self.row["term"]


def find_printed(
    package: Package, analysis: str, quantity: str, words: Iterable[str]
) -> list[Printed]:
    """Find the rows of a release that have a name.

    Parameters
    ----------
    package
        The release.
    analysis, quantity
        As the columns `analysis` and `term` have them.
    words
        Parts of the stratum in any order, such as `canal=posterior`; `population=`, `endpoint=` and
        `comparison=` narrow these columns. Without a part it is the row of all, if there is one.

    Returns
    -------
    list of Printed
        One for each population, endpoint and comparison that is left.

    Raises
    ------
    NoSuchRow
        If there is none.
    """
    if analysis not in PLAN:
        raise NoSuchRow(f"No analysis is called {analysis}.{_suggest(analysis, PLAN)}")
    path = f"{ESTIMATES}/{analysis}.csv"
    if not (package.folder / path).exists():
        raise NoSuchRow(f"Release {package.number} holds no {path}.")
    rows = read_as_printed(package.folder / path)
    of_term = rows[rows["term"].eq(quantity)]
    if of_term.empty:
        terms = [*rows["term"], *(declared.term for declared in DECLARED[analysis])]
        raise NoSuchRow(f"{analysis} states no {quantity} here.{_suggest(quantity, terms)}")
    pairs = [word.partition("=") for word in words]
    for column, _, value in pairs:
        if column in COLUMNS:
            others = of_term[column].unique()
            of_term = of_term[of_term[column].eq(value)]
            if of_term.empty:
                raise NoSuchRow(f"{quantity} has no {column}={value}.{_suggest(value, others)}")
    parts = [f"{name}{sign}{value}" for name, sign, value in pairs if name not in COLUMNS]
    chosen = of_term[_fit(of_term["stratum"], ",".join(parts) or WHOLE)]
    if chosen.empty and not parts and of_term["stratum"].nunique() == 1:
        chosen = of_term
    if chosen.empty:
        named = f"stratum {','.join(parts)}" if parts else f"stratum {WHOLE}: name one"
        raise NoSuchRow(
            f"{quantity} has no {named}.{_suggest(','.join(parts), of_term['stratum'])}"
        )
    return [
        Printed(path, int(place) + 2, row)  # the file begins with its header
        for place, row in zip(chosen.index, chosen.to_dict("records"), strict=True)
    ]


def read_as_printed(path: Path) -> pd.DataFrame:
    """The rows of a file of estimates as texts, empty where nothing is stated."""
    return pd.read_csv(path, dtype=str, keep_default_na=False)


def _fit(strata: pd.Series, named: str) -> pd.Series:
    """Which strata have the parts that are named, in whatever order."""
    asked = set(named.split(","))
    return strata.map(lambda text: set(text.split(",")) == asked)


def _suggest(name: str, known: Iterable[str]) -> str:
    """The names that are nearest to one, or the first ones where none is near."""
    names = list(dict.fromkeys(each for each in known if each))
    near = get_close_matches(name, names, 5)
    if near:
        return f" Did you mean {', '.join(near)}?"
    more = ", ..." if len(names) > MOST_NAMES else ""
    return f" There are {', '.join(names[:MOST_NAMES])}{more}." if names else ""
