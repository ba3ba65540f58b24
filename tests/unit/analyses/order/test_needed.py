"""What an answer needs comes from what is shown, and at the pace of the records."""

import pandas as pd

from pipeline.analyses.order.needed import NEEDED, PACE, count_years, state_needed


def test_years_are_counted_with_the_first_and_the_last():
    years = pd.DataFrame({"index_year": pd.array([2021, pd.NA, 2024], dtype="Int64")})
    assert count_years(years) == 4
    assert count_years(years.iloc[:0]) == 1


def test_twice_the_width_needs_three_times_as_many_more(plan):
    rule = plan.study.disclosure
    rows = {row["term"]: row["estimate"] for row in state_needed(100, 0.4, 0.2, 4, rule)}
    assert rows == {NEEDED: 300, PACE: 12}


def test_narrow_limits_need_nothing(plan):
    assert list(state_needed(100, 0.2, 0.2, 4, plan.study.disclosure)) == []


def test_what_is_needed_is_told_from_the_rounded_number(plan):
    rule = plan.study.disclosure
    told = [list(state_needed(n, 0.3, 0.2, 4, rule)) for n in (98, 102)]
    assert told[0] == told[1]
