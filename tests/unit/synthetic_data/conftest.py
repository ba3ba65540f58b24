"""One large set of simulated records for all tests of the generator."""

from dataclasses import dataclass

import pandas as pd
import pytest

from synthetic_data.pool import read_plan
from synthetic_data.scenario import Scenario
from synthetic_data.sites import make_sites, share_out
from synthetic_data.tables import Records, simulate_site


@dataclass(frozen=True)
class Simulated:
    """The records of ten sites, their tables put together with a `site` column, and the truth."""

    records: list[Records]
    tables: dict[str, pd.DataFrame]
    truth: pd.DataFrame


@pytest.fixture(scope="session")
def simulated() -> Simulated:
    sites, maneuvers = make_sites(10), read_plan().maneuvers
    sizes = share_out(12_000, sites)
    records = [
        simulate_site(11, Scenario(), s, n, maneuvers) for s, n in zip(sites, sizes, strict=True)
    ]
    names = records[0].tables
    tables = {
        name: pd.concat(
            [r.tables[name].assign(site=r.site.code) for r in records], ignore_index=True
        )
        for name in names
    }
    return Simulated(records, tables, pd.concat([r.truth for r in records], ignore_index=True))
