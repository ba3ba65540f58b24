"""What is known of an episode on a day: four parts that add up whatever its interval."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.analyses.resolution.known_by_day import count_known, divide_by_knowledge
from schemas.codes import KNOWN_ON_DAY

DAYS = st.integers(0, 90)


@st.composite
def intervals(draw) -> tuple[list[float], list[float]]:
    left = draw(st.lists(DAYS, max_size=30))
    gaps = draw(
        st.lists(
            st.one_of(st.integers(1, 60), st.just(math.inf)), min_size=len(left), max_size=len(left)
        )
    )
    return left, [start + gap for start, gap in zip(left, gaps, strict=True)]


@given(intervals(), st.integers(1, 90))
def test_everybody_belongs_to_exactly_one_part(pool, day):
    parts = divide_by_knowledge(*pool, day)
    assert list(parts) == list(KNOWN_ON_DAY)
    assert (sum(members.astype(int) for members in parts.values()) == 1).all()


@given(intervals(), st.integers(1, 90), st.integers(0, 30))
def test_who_has_tested_negative_stays_so_and_who_will_test_positive_did_before(pool, day, later):
    early, late = divide_by_knowledge(*pool, day), divide_by_knowledge(*pool, day + later)
    assert (late["negative"] >= early["negative"]).all()
    assert (late["positive"] <= early["positive"]).all()
    assert (late["untested"] >= early["untested"]).all()


@pytest.mark.parametrize(
    ("left", "right", "part"),
    [
        (0, 7, "negative"),  # tested negative on the day itself
        (2, 5, "negative"),
        (6, 8, "between"),
        (0, 60, "between"),
        (7, 8, "positive"),  # tested positive on the day itself
        (20, math.inf, "positive"),
        (6, math.inf, "untested"),
    ],
)
def test_parts_of_day_seven(left, right, part):
    (only,) = [
        name for name, members in divide_by_knowledge([left], [right], 7).items() if members.all()
    ]
    assert only == part


def test_an_interval_that_ends_before_it_begins_is_refused():
    with pytest.raises(ValueError, match="must end after"):
        divide_by_knowledge([5], [5], 7)


def test_rows_count_everybody_of_a_stratum():
    spells = pd.DataFrame(
        {"site": ["S1", "S1", "S2"], "left_days": [0.0, 9, 3], "right_days": [2.0, np.inf, np.inf]}
    )
    rows = pd.DataFrame(count_known(spells, (1, 7), stratum="all"))
    assert rows.groupby(rows["term"].str.extract(r"_day_(\d+)$")[0])["estimate"].sum().tolist() == [
        3,
        3,
    ]
    assert rows["n_episodes"].eq(3).all()
    assert rows["n_events"].eq(rows["estimate"]).all()
    at_seven = rows[rows["term"].str.endswith("_day_7")].set_index("term")
    assert at_seven["n_sites"].to_dict() == {
        "known_negative_day_7": 1,
        "known_between_day_7": 0,
        "known_positive_day_7": 1,
        "known_untested_day_7": 1,
    }
