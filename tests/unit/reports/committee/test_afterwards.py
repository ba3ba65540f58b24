"""Handicap and recurrence in the report."""

from pipeline.reports.committee.afterwards import describe_handicap, describe_recurrence
from tests.unit.reports.committee.sections import number, table, words


def test_handicap_shows_both_important_changes(plan):
    rows = [
        number(f"mean_day_{day}", mean, lower=mean - 3, upper=mean + 3)
        for day, mean in ((0, 44), (7, 30), (30, 22))
    ]
    rows += [
        number(
            f"change_by_day_{day}", change, lower=change - 3, upper=change + 3, comparison="day 0"
        )
        for day, change in ((7, -14), (30, -22))
    ]
    rows += [
        number(f"fell_by_{points}_by_day_30", share, lower=share - 0.1, upper=share + 0.1)
        for points, share in ((11, 0.7), (18, 0.55))
    ]
    section = describe_handicap(table("handicap_change", rows), plan)
    text = words(section)
    assert "by day 7 it was 14 points lower (11 to 17)" in text
    assert "by at least 11 points in about 70 %" in text
    assert "by at least 18 points in about 55 %" in text
    assert section["figure"]["svg"].count('class="dot ') == 3


def test_recurrence_turns_the_share_free_of_it_round(plan):
    rows = [
        number("recurrence_free_day_90", 0.9, lower=0.8, upper=0.96),
        number("recurrence_free_day_30", 0.97, lower=0.9, upper=0.99),
    ]
    section = describe_recurrence(table("recurrence", rows, "resolved first spells"), plan)
    assert "Within 90 days of resolution it recurred in about 10 % (between 4 and 20 %)" in words(
        section
    )


def test_a_limit_of_the_share_free_of_recurrence_is_turned_round_too(plan):
    """Over 94 % free of it are under 6 % with a recurrence."""
    rows = [
        number("recurrence_free_day_180", 0.88, lower=0.44, upper=0.98),
        number("recurrence_free_day_30", 0.97),
    ]
    tables = table("recurrence", rows, "resolved first spells")
    hidden = tables["recurrence"]["term"].eq("recurrence_free_day_30")
    tables["recurrence"].loc[hidden, ["status", "estimate", "lower"]] = ["bounded", None, 0.94]
    drawn = describe_recurrence(tables, plan)["figure"]["svg"].replace("\u00a0", " ")
    assert "under 6 %" in drawn
    assert "over 94 %" not in drawn
