"""What a whole delivery is doubted for: enough rows, and enough of all."""

import pandas as pd
import pytest

from pipeline.intake.suspicion import ANY, MOST, NEARLY_ALL, suspect


@pytest.mark.parametrize(
    ("enough", "suspicious", "asked", "expected"),
    [
        (MOST, 5, 10, True),
        (MOST, 4, 4, False),
        (MOST, 5, 11, False),
        (NEARLY_ALL, 10, 11, True),
        (NEARLY_ALL, 9, 9, False),
        (NEARLY_ALL, 17, 19, False),
        (ANY, 1, 1_000, True),
        (ANY, 0, 1_000, False),
    ],
)
def test_both_the_number_and_the_share_must_be_reached(enough, suspicious, asked, expected):
    seen = pd.Series([True] * suspicious + [False] * (asked - suspicious))
    problems = suspect("codes_for_missing", "episodes", "age_years", seen, "ages", enough)
    assert bool(problems) is expected
    assert all(f"{suspicious:,} of {asked:,} ages" in problem.also for problem in problems)


def test_what_cannot_be_said_is_no_sign():
    unsaid = pd.Series([True, True, True, True, pd.NA, pd.NA], dtype="boolean")
    assert suspect("codes_for_missing", "episodes", None, unsaid, "rows", MOST) == []
