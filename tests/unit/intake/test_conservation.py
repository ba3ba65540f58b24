"""Whatever is handed in, no row is lost or doubled: stored, set aside with a named reason,
or refused with the whole delivery."""

import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake import receive as receiving
from pipeline.intake.check import ProgramFault
from pipeline.intake.receive import receive_delivery
from schemas.delivery import TABLES
from tests.unit.intake.conftest import plain_tables, to_grids, write_csv

TEXTS = [
    "",
    "x",
    "EP-1",
    "EP-2",
    "none",
    "right",
    "short",
    "central",
    "1",
    "2",
    "3",
    "-1",
    "101",
    "1,5",
    "57.5",
    "90+",
    "femal",
    "12 s",
    "SEMONT",
]
SPOILT = st.tuples(
    st.sampled_from(list(TABLES)), st.integers(0, 3), st.integers(0, 30), st.sampled_from(TEXTS)
)
COPIED = st.tuples(st.sampled_from(list(TABLES)), st.integers(0, 3))


def spoil(spoilt, copied, dropped) -> dict:
    """A delivery in which cells were overwritten, rows copied and rows left out."""
    grids = to_grids(plain_tables())
    for table, row, column, text in spoilt:
        rows = grids[table]
        rows[1 + row % (len(rows) - 1)][column % len(rows[0])] = text
    for table, row in copied:
        grids[table].append(list(grids[table][1 + row % (len(grids[table]) - 1)]))
    for table, row in dropped:
        if len(grids[table]) > 2:
            del grids[table][1 + row % (len(grids[table]) - 1)]
    return grids


@settings(max_examples=10, derandomize=True)
@given(
    spoilt=st.lists(SPOILT, max_size=12),
    copied=st.lists(COPIED, max_size=3),
    dropped=st.lists(COPIED, max_size=4),
)
def test_rows_in_are_rows_stored_set_aside_or_refused(plan, spoilt, copied, dropped):
    grids = spoil(spoilt, copied, dropped)
    with tempfile.TemporaryDirectory() as place:
        received = receive_delivery(write_csv(Path(place) / "S01" / "001", grids), plan)
    tables = received.tables
    problems, aside = tables["problems"], tables["set_aside"]
    named = set(
        problems.loc[problems["severity"] == "set_aside", ["table", "row"]].itertuples(
            index=False, name=None
        )
    )
    for count in tables["row_counts"].itertuples():
        handed_in = {
            number
            for number, row in enumerate(grids[count.table], 1)
            if number > 1 and any(c not in ("", None) for c in row)
        }
        stored, apart = (
            tables[count.table]["row"].tolist(),
            aside.loc[aside["table"] == count.table, "row"].tolist(),
        )
        assert count.rows_in == len(handed_in)
        assert (count.rows_stored, count.rows_set_aside) == (len(stored), len(apart))
        assert sorted([*stored, *apart]) == (sorted(handed_in) if received.accepted else [])
        assert {(count.table, row) for row in apart} <= named
        assert not {(count.table, row) for row in stored} & named
    kept = set(tables["episodes"]["episode_id"])
    assert all(set(tables[name]["episode_id"]) <= kept for name in TABLES)
    for name, model in TABLES.items():
        assert not tables[name].duplicated(model.key()).any()


def test_a_lost_row_is_a_program_fault(receive, tables, monkeypatch):
    whole = receiving.store_rows
    monkeypatch.setattr(
        receiving,
        "store_rows",
        lambda *given: {name: rows.iloc[1:] for name, rows in whole(*given).items()},
    )
    with pytest.raises(ProgramFault) as fault:
        receive(tables)
    assert "EP-" not in str(fault.value)


def test_frames_of_the_same_delivery_are_the_same(receive, tables):
    tables["followups"][0]["dhi_total"] = 37
    for one, other in zip(
        receive(tables).tables.values(), receive(tables).tables.values(), strict=True
    ):
        pd.testing.assert_frame_equal(one, other)
