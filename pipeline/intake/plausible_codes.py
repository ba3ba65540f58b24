"""Numbers that stand for "not recorded": 999 and the like, as SPSS,
Stata and SAS users enter them (common practice).

Where a column's bounds refuse such a number, its row is set aside and told why; where they allow
it, it is doubted if it repeats and stands far from all other numbers of its column.
"""

from collections.abc import Iterator, Mapping

import pandas as pd

from pipeline.intake.patterns import normalise
from pipeline.intake.problem import DESCRIBED, Problem
from pipeline.intake.suspicion import Enough, suspect
from schemas.columns import Integer, Number

REFUSED = frozenset(
    [
        "-1",
        "-8",
        "-9",
        "-88",
        "-99",
        "-888",
        "-999",
        "-8888",
        "-9999",
        "-99999",
        "88",
        "99",
        "888",
        "999",
        "8888",
        "9999",
        "99999",
    ]
)
ALLOWED = (99, 999, 9999, 99999, -99, -999, -9999, -99999)
REPEATED = Enough(3, 0.0)
FAR = 2  # times as far from 0 as any other number
COUNTED = ("index_year", "attempt")  # years and running numbers
SAID = (
    "It looks like a code for not recorded, as statistics programs use: then leave the cell empty."
)


def say_code(text: str) -> str:
    """What is said besides of a number that the bounds of its column refuse: that it may be a code;
    otherwise nothing."""
    return SAID if normalise(text).strip().removesuffix(".0") in REFUSED else ""


def find_codes(rows: Mapping[str, pd.DataFrame]) -> Iterator[Problem]:
    """Columns in which such a number repeats within the bounds, far from all others."""
    for table, typed in rows.items():
        for name, column in DESCRIBED[table].items():
            if isinstance(column.dtype, Integer | Number) and name not in COUNTED:
                yield from judge_column(table, name, typed[name].dropna().astype("float64"))


def judge_column(table: str, name: str, cells: pd.Series) -> Iterator[Problem]:
    """The doubt about one column, for the first of the codes that it holds."""
    held = set(cells[cells.isin(ALLOWED)])
    for code in filter(held.__contains__, ALLOWED):
        same = cells.eq(code)
        others = cells[~same].abs()
        far = len(others) > 0 and others.max() * FAR <= abs(code)
        problems = (
            suspect("code_for_missing", table, name, same, "filled cells", REPEATED) if far else ()
        )
        if problems:
            yield from problems
            return
