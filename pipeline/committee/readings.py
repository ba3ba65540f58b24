"""Estimates as a page reads them: one reading for each stratum and term, an empty one where nothing was estimated."""

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Reading:
    """One estimate. Numbers are None where there is none or it must not be used; `status` is then the reason."""

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


class Readings(dict):
    """Readings by (stratum, term) of one analysis, population and endpoint; what was not estimated reads as absent."""

    def __missing__(self, key: tuple[str, str]) -> Reading:
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
    """The readings of one analysis from disclosed estimates (schemas.estimate.Estimates); empty if there are none.

    Only estimates with this `comparison` are read, empty for those compared with nothing; `endpoint` is None where it does not matter.
    """
    rows = estimates.get(analysis)
    if rows is None:
        return Readings()
    here = rows["population"].eq(population) & rows["comparison"].fillna("").eq(comparison)
    if endpoint is not None:
        here &= rows["endpoint"].eq(endpoint)
    kept = rows.loc[here.fillna(False).astype(bool), ["stratum", "term", *Reading.__dataclass_fields__]]
    plain = kept.astype(object).where(kept.notna(), None)
    return Readings({(stratum, term): Reading(*numbers) for stratum, term, *numbers in plain.itertuples(index=False)})
