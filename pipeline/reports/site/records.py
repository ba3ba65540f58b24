"""The rows of one site and nothing of any other: what its page is made from."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from schemas.keys import EPISODE_ID

DELIVERED = ("episodes", "examinations", "treatments", "followups", "planned_days")
DERIVED = ("findings", "adjudications", "spells", "attempts", "failure_reasons")
KEPT = ("deliveries", "problems", "row_counts")


@dataclass(frozen=True)
class SiteRecords:
    """One site's rows: delivered tables of its current delivery, what was derived from them, what
    intake kept beside, and the turning_points of those that were set apart."""

    site: str
    tables: Mapping[str, pd.DataFrame]

    def __getitem__(self, name: str) -> pd.DataFrame:
        return self.tables[name]

    @property
    def current_delivery(self) -> str | None:
        """The number of the delivery that counts; None if none was accepted."""
        deliveries = self["deliveries"]
        current = deliveries.loc[deliveries["is_current"].astype(bool), "delivery"]
        return current.iloc[0] if len(current) else None

    @property
    def first_spells(self) -> pd.DataFrame:
        """The first spell of each episode by the objective endpoint, with its verdict."""
        spells = self["spells"]
        first = spells[spells["spell"].eq(1) & spells["endpoint"].eq("objective")]
        return self["adjudications"].merge(
            first[[EPISODE_ID, "status"]], on=EPISODE_ID, validate="one_to_one"
        )


def select_site(tables: Mapping[str, pd.DataFrame], site: str) -> SiteRecords:
    """The rows of `site` in every table."""
    return SiteRecords(
        site,
        {name: rows[rows["site"].eq(site)].reset_index(drop=True) for name, rows in tables.items()},
    )
