"""What changed between two deliveries, by episode, whatever the order of their rows."""

import pandas as pd
import pytest

from pipeline.intake.changes import compare_deliveries
from schemas.delivery import TABLES
from tests.unit.conftest import build_table

PARTS = ("examinations", "treatments", "followups")


def deliver(*codes: str, aside: tuple[str, ...] = (), **changed: dict) -> dict[str, pd.DataFrame]:
    """A delivery of episodes by code, all alike but for the `changed` rows by table; of `aside`
    only the row that was set aside is there."""
    tables = {
        name: build_table(
            name, [{"episode_id": code} | changed.get(name, {}).get(code, {}) for code in codes]
        )
        for name in TABLES
    }
    kept = [{"table": "episodes", "episode_id": code} for code in aside]
    return tables | {"set_aside": pd.DataFrame(kept, columns=["table", "episode_id"])}


def compare(before, now) -> dict[str, str]:
    return dict(compare_deliveries(before, now).itertuples(index=False))


def test_episodes_are_added_withdrawn_or_neither():
    assert compare(deliver("EP-1", "EP-2"), deliver("EP-2", "EP-3")) == {
        "EP-1": "withdrawn",
        "EP-3": "added",
    }


@pytest.mark.parametrize("table", PARTS)
def test_a_change_of_any_table_changes_the_episode(table):
    now = deliver("EP-1", "EP-2", **{table: {"EP-2": {"day": 3}}})
    assert compare(deliver("EP-1", "EP-2"), now) == {"EP-2": "changed"}


def test_the_order_of_rows_is_no_change():
    one = deliver("EP-1", "EP-2")
    assert compare(one, {name: rows.iloc[::-1] for name, rows in one.items()}) == {}


def test_an_episode_that_is_set_aside_is_still_in_the_delivery():
    before, now = deliver("EP-1", "EP-2"), deliver("EP-1", aside=("EP-2",))
    assert compare(before, now) == {"EP-2": "changed"}
    assert compare(now, now) == {}
