"""Estimates as a page reads them: one reading for each stratum and term,
an empty one where nothing was estimated."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import hypot
from typing import Any

import pandas as pd

from schemas.declared import find_quantity
from schemas.strata import check_stratum

ROUNDED = "≈"  # before a number that was rounded to protect small groups


class AboutCount(int):
    """A count that was rounded to protect small groups; wherever it is printed, it says so."""

    def __format__(self, form: str) -> str:
        return ROUNDED + format(int(self), form)


class AboutShare(float):
    """A share in coarse steps, to protect small groups; wherever it is printed,
    it says so (say_percent)."""


@dataclass(frozen=True)
class Reading:
    """One estimate as a page reads it.

    Attributes
    ----------
    estimate, lower, upper
        The number and its 95 % confidence limits, or the limit beyond which a hidden one lies; None
        where there is none or it must not be used.
    n_episodes, n_events, n_sites
        Of how many it is; None where that is not told.
    status
        "ok", or the reason why there is no number; "absent" where there is no row.
    note, method
        As the row has them.
    """

    estimate: float | None = None
    lower: float | None = None
    upper: float | None = None
    n_episodes: int | None = None
    n_events: int | None = None
    n_sites: int | None = None
    status: str = "absent"
    note: str | None = None
    method: str | None = None

    @property
    def usable(self) -> bool:
        return self.status == "ok" and self.estimate is not None

    @property
    def number(self) -> float:
        """The estimate of a usable reading; raises ValueError where there is none."""
        if self.estimate is None:
            raise ValueError("a reading without an estimate was read as one with a number")
        return self.estimate

    @property
    def ends(self) -> tuple[float, float]:
        """Both limits of a reading that has them; raises ValueError where one is missing."""
        if self.lower is None or self.upper is None:
            raise ValueError("a reading without limits was read as one with limits")
        return self.lower, self.upper

    @property
    def bounded(self) -> bool:
        """Whether there is no number, but a limit beyond which it lies."""
        return self.status == "bounded"

    @property
    def nearly_all(self) -> bool:
        """Whether the limit of a hidden share is one from below."""
        return self.bounded and self.lower is not None

    def turned(self) -> "Reading":
        """The share of those who are not among the ones counted, as a number or as a limit:
        1 - share, 'over 94 %' as 'under 6 %'."""
        least, share, most = (
            None if number is None else 1 - number
            for number in (self.upper, self.estimate, self.lower)
        )
        return replace(self, lower=least, estimate=share, upper=most)


def as_printed(number: float, unit: int = 1, digits: int = 0) -> float:
    """Round a number as a page prints it.

    Parameters
    ----------
    number
        The number.
    unit
        In parts of which so many are one: 100 for percent.
    digits
        Decimals.
    """
    return float(f"{unit * number:.{digits}f}")


def subtract_printed(
    difference: Reading, first: Reading, second: Reading, unit: int = 1, digits: int = 0
) -> Reading:
    """Subtract two numbers as a reader does who sees both rounded beside each other.

    So 44 before and 15 after are 29 apart, though 43.6 and 15.4 are 28.

    Parameters
    ----------
    difference
        The second less the first, as it was estimated.
    first, second
        The two.
    unit, digits
        How they are printed, as in `as_printed`.

    Returns
    -------
    Reading
        `difference` with another number and its own limits; unchanged where one of the two has
        none.
    """
    if not (difference.usable and first.usable and second.usable):
        return difference
    apart = as_printed(second.number, unit, digits) - as_printed(first.number, unit, digits)
    return replace(difference, estimate=apart / unit)


def disagree(one: Reading, other: Reading) -> bool:
    """Whether two ways of estimating one number lie further apart than their errors.

    With a and b the numbers, a < b, they do where b - a is more than the root of (upper limit of a
    less a)^2 + (b less lower limit of b)^2: the limits of a difference by those of both (Zou GY,
    Donner A. Stat Med 2008;27:1693-1702, from memory), as if the two were independent. Of the same
    people they are not, so that ways that differ are called so less often than at 5 %.

    Parameters
    ----------
    one, other
        The number each way.

    Returns
    -------
    bool
        False where one of them has no number or no limits.
    """
    readings = [one, other]
    if any(not r.usable or r.lower is None or r.upper is None for r in readings):
        return False
    less, more = sorted(readings, key=lambda reading: reading.number)
    reach = hypot(less.ends[1] - less.number, more.number - more.ends[0])
    return more.number - less.number > reach


class Readings(dict[tuple[str, str], Reading]):
    """Readings by (stratum, term) of one analysis, population and endpoint;
    what was not estimated reads as absent.

    Asking for what no declaration of the analysis knows raises schemas.quantities.Undeclared or
    schemas.strata.UnknownStratum: a slip must not read as absent.
    """

    def __init__(
        self, analysis: str, readings: Mapping[tuple[str, str], Reading] | None = None
    ) -> None:
        super().__init__(readings or {})
        self.analysis = analysis

    def __missing__(self, key: tuple[str, str]) -> Reading:
        stratum, term = key
        check_stratum(stratum)
        find_quantity(self.analysis, stratum, term)
        return Reading()

    def strata(self) -> list[str]:
        """The strata in the order of the estimates."""
        return list(dict.fromkeys(stratum for stratum, _ in self))

    def of(self, stratum: str) -> dict[str, Reading]:
        """The readings of one stratum by term."""
        return {term: reading for (name, term), reading in self.items() if name == stratum}


def read_estimates(
    estimates: dict[str, pd.DataFrame],
    analysis: str,
    population: str,
    endpoint: str | None = None,
    comparison: str = "",
) -> Readings:
    """Read one analysis from disclosed estimates.

    Parameters
    ----------
    estimates
        Rows of schemas.estimate.Estimates by analysis.
    analysis, population
        Which rows are read.
    endpoint
        Likewise; None where it does not matter.
    comparison
        Likewise; empty for those compared with nothing.

    Returns
    -------
    Readings
        By stratum and term; empty if there are none.
    """
    rows = estimates.get(analysis)
    if rows is None:
        return Readings(analysis)
    matches = rows["population"].eq(population) & rows["comparison"].fillna("").eq(comparison)
    if endpoint is not None:
        matches &= rows["endpoint"].eq(endpoint)
    kept = rows.loc[
        matches.fillna(False).astype(bool),
        ["stratum", "term", "rounded", *Reading.__dataclass_fields__],
    ]
    plain = kept.astype(object).where(kept.notna(), None)
    return Readings(
        analysis,
        {
            (stratum, term): mark_rounded(Reading(*numbers), (rounded or "").split())
            for stratum, term, rounded, *numbers in plain.itertuples(index=False)
        },
    )


def mark_rounded(reading: Reading, columns: list[str]) -> Reading:
    """The same estimate, its rounded numbers marked as such."""
    marked: dict[str, Any] = {
        column: AboutCount(getattr(reading, column)) for column in columns if column != "estimate"
    }
    if "estimate" in columns:
        marked["estimate"] = (AboutCount if reading.number > 1 else AboutShare)(reading.number)
    return replace(reading, **marked)
