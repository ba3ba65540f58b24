"""Codes for "not recorded" that the bounds of a column refuse are told as such."""

import pytest

from pipeline.intake.plausible_codes import SAID


@pytest.mark.parametrize(
    ("table", "column", "text", "expected"),
    [
        ("followups", "vas_0_10", "99", True),
        ("followups", "vas_0_10", "-9", True),
        ("episodes", "age_years", "999", True),
        ("treatments", "hold_s", "-99", True),
        ("followups", "vas_0_10", "11", False),
        ("treatments", "hold_s", "-30", False),
    ],
)
def test_a_code_for_not_recorded_that_is_refused_says_so(
    receive, tables, table, column, text, expected
):
    tables[table][0][column] = text
    problems = receive(tables).tables["problems"]
    of_column = problems[
        problems["column"].eq(column) & problems["rule"].isin(["too_small", "too_large"])
    ]
    assert [SAID in message for message in of_column["message"]] == [expected]
