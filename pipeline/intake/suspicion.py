"""What counts as a sign that a whole delivery cannot be meant so: enough rows,
and a large enough share of them. It is told in numbers of rows."""

from dataclasses import dataclass

import pandas as pd

from pipeline.intake.problem import Problem


@dataclass(frozen=True)
class Enough:
    """From how much on something is told of.

    Attributes
    ----------
    rows
        Least number of suspicious things.
    share
        Least share of all that were asked.
    """

    rows: int
    share: float


MOST = Enough(5, 0.5)  # a slip of the whole column shows in most rows; errors of single rows do not
NEARLY_ALL = Enough(10, 0.9)
ANY = Enough(1, 0.0)


def suspect(
    rule: str, table: str, column: str | None, suspicious: pd.Series, things: str, enough: Enough
) -> list[Problem]:
    """Suspect a slip where enough things are suspicious.

    Parameters
    ----------
    rule, table, column
        Of the problem.
    suspicious
        Whether each thing that was asked is.
    things
        What they are, in the plural.
    enough
        How many there must be, and which share of all that were asked.

    Returns
    -------
    list of Problem
        One, or none.
    """
    number, of = int(suspicious.fillna(False).sum()), len(suspicious)
    if number < enough.rows or number < enough.share * of:
        return []
    return [Problem(rule, table, None, column, f"This is so in {number:,} of {of:,} {things}.")]
