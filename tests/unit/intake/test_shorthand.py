"""A test that showed nothing, in one cell: the same stored row and verdict as the long way, and a
contradiction is told."""

from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.receive import receive_delivery
from pipeline.intake.shorthand import write_out_negatives
from schemas.delivery import SIDED_TESTS, SIGNS, TABLES
from tests.unit.intake.conftest import (
    build_book,
    current_tables,
    places_of,
    to_grids,
    write_book,
    write_csv,
)

NONE = dict.fromkeys(SIGNS, "none")
UP = {"vertical": "up", "torsion": "right", "horizontal": "none", "vertigo": "moderate"}
WRITERS = [write_csv, lambda folder, grids: write_book(folder, build_book(grids))]


def hand_in(folder, plan, tests, write=write_csv):
    """A delivery whose first episode has these tests of day 0."""
    tables = current_tables()
    first = tables["examinations"][0] | dict.fromkeys(("latency_s", "duration_s"))
    tables["examinations"] = [
        first | {"examination": number} | test for number, test in enumerate(tests, 1)
    ]
    return receive_delivery(write(folder / "S01" / "001", to_grids(tables)), plan)


def places() -> st.SearchStrategy[dict]:
    return st.fixed_dictionaries(
        {"test": st.sampled_from(SIDED_TESTS), "side": st.sampled_from(["right", "left"])}
    )


def shortened() -> st.SearchStrategy[dict]:
    """One cell, in any spelling, and of the others those that say the same."""
    said = st.sampled_from(["negative", "Negative", "NEGATIVE "])
    return st.builds(
        lambda result, left_out: {"result": result} | NONE | dict.fromkeys(left_out),
        said,
        st.sets(st.sampled_from(SIGNS), min_size=1),
    )


@settings(max_examples=6)
@given(st.lists(st.tuples(places(), st.one_of(st.just(UP), shortened())), min_size=1, max_size=6))
def test_one_cell_is_stored_as_the_row_of_the_long_way(plan, tests):
    long = [place | (UP if seen is UP else NONE) for place, seen in tests]
    with TemporaryDirectory() as folder:
        in_short, in_full = (
            hand_in(Path(folder) / name, plan, rows)
            for name, rows in (("a", [place | seen for place, seen in tests]), ("b", long))
        )
    assert in_short.accepted
    for name in TABLES:
        pd.testing.assert_frame_equal(
            in_short.tables[name].drop(columns="source_sha256"),
            in_full.tables[name].drop(columns="source_sha256"),
        )


@pytest.mark.parametrize("write", WRITERS, ids=["csv", "workbook"])
def test_a_negative_test_in_one_cell_is_stored_whole(tmp_path, plan, write):
    received = hand_in(tmp_path, plan, [{"result": "negative"} | dict.fromkeys(SIGNS)], write)
    assert received.tables["examinations"][list(SIGNS)].to_dict("records") == [NONE]
    assert "result" not in received.tables["examinations"]


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ({"result": "negative"} | UP, True),
        ({"result": "negative"} | dict.fromkeys(SIGNS) | {"vertigo": "mild"}, True),
        ({"result": "positive"} | NONE, True),
        ({"result": "negative"} | NONE, False),
        ({"result": "positive"} | UP, False),
        ({"result": None} | UP, False),
    ],
)
def test_a_result_that_the_rest_contradicts_is_told(tmp_path, plan, cells, told):
    received = hand_in(tmp_path, plan, [cells])
    assert received.accepted
    expected = [("examinations", 2, "result")] if told else []
    assert places_of(received, "result_fits_the_rest") == expected
    assert len(received.tables["examinations"]) == 1 - told


def test_a_time_of_nystagmus_in_a_negative_test_is_told(tmp_path, plan):
    cells = {"result": "negative", "duration_s": 20} | dict.fromkeys(SIGNS)
    received = hand_in(tmp_path, plan, [cells])
    assert places_of(received, "timing_needs_nystagmus") == [("examinations", 2, "duration_s")]
    assert len(received.tables["examinations"]) == 1


def test_only_a_negative_result_fills_cells():
    cells = {"result": ["negative", "positive", None], **{sign: [None] * 3 for sign in SIGNS}}
    written = write_out_negatives(pd.DataFrame(cells, dtype=object))
    assert written[list(SIGNS)].notna().all(axis=1).tolist() == [True, False, False]
