"""The days of tests, each once, with the reason that its rows agree on."""

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.derivation.examined_days import list_examined_days
from schemas.codes import TEST_REASON
from schemas.derived import ExaminedDays

COLUMNS = ["site", "episode_id", "day", "reason"]


def list_days(*rows: tuple) -> list[tuple]:
    tests = pd.DataFrame(rows, columns=COLUMNS).astype(
        {"site": "string", "episode_id": "string", "day": "Int64", "reason": "string"}
    )
    days = list_examined_days(tests)
    ExaminedDays.validate(days, lazy=True)
    assert not days.duplicated(ExaminedDays.key()).any()
    return list(days.astype(object).where(days.notna(), None).itertuples(index=False, name=None))


@pytest.mark.parametrize(
    ("reasons", "reason"),
    [
        ((None, None), None),
        (("planned", None), "planned"),
        ((None, "symptoms"), "symptoms"),
        (("other", "other"), "other"),
        (("unknown", None), "unknown"),
        (("unknown", "unknown", "planned"), "planned"),
        (("planned", "symptoms"), None),
        (("planned", "symptoms", "unknown"), None),
        (("planned", "planned", "symptoms"), None),
    ],
)
def test_a_day_has_the_reason_that_its_rows_agree_on(reasons, reason):
    rows = [("S01", "EP-1", 7, each) for each in reasons]
    assert list_days(*rows) == [("S01", "EP-1", 7, reason)]


def test_days_episodes_and_sites_are_kept_apart():
    rows = [
        ("S02", "EP-1", 0, "other"),
        ("S01", "EP-1", 7, "planned"),
        ("S01", "EP-1", -2, "symptoms"),
        ("S01", "EP-2", 7, None),
    ]
    assert list_days(*rows) == [rows[2], rows[1], rows[3], rows[0]]
    assert list_days() == []


@settings(deadline=None, max_examples=50)
@given(
    st.lists(
        st.tuples(
            st.just("S01"),
            st.sampled_from(["EP-1", "EP-2"]),
            st.integers(0, 3),
            st.none() | st.sampled_from(list(TEST_REASON)),
        ),
        max_size=12,
    ),
    st.randoms(),
)
def test_neither_order_nor_repetition_of_rows_counts(rows, random):
    again = [*rows, *rows[:3]]
    random.shuffle(again)
    assert list_days(*rows) == list_days(*again)
    assert {day[:3] for day in list_days(*rows)} == {row[:3] for row in rows}
