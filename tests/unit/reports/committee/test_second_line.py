"""Repeating against changing: a difference is an association, and only where there is one."""

from pipeline.reports.committee.second_line import POPULATION as SECOND
from pipeline.reports.committee.second_line import describe_second_line
from pipeline.statistics.tidy import withhold
from tests.unit.reports.committee.sections import MANY, number, table, words


def compare(low: float, high: float, plan, **limit) -> dict:
    rows = [
        number("failed_first_session", 200, n_events=None),
        number("choice_repeat", 110),
        number("choice_change", 90),
    ]
    rows += [
        number(f"risk_{arm}_day_30", share, lower=share - 0.1, upper=share + 0.1)
        for arm, share in (("repeat", 0.5), ("change", 0.6))
    ]
    rows += [
        number(
            "risk_difference_day_30", (low + high) / 2, lower=low, upper=high, comparison="repeat"
        )
    ]
    rows += [
        number("e_value_day_30", 1.9, comparison="repeat"),
        number("e_value_limit_day_30", limit.get("e", 1.0), comparison="repeat"),
    ]
    rows += [
        withhold("risk_change_day_30", "too_few", "few", stratum="variant=adherent_debris", **MANY)
    ]
    return describe_second_line(table("second_line", rows, SECOND), plan)


def test_a_range_over_no_difference_is_said_to_tell_nothing(plan):
    text = words(compare(-0.12, 0.32, plan))
    assert "no clear difference" in text
    assert (
        "12 percentage points more after repeating to 32 percentage points more after changing"
        in text
    )
    assert "E-value" not in text


def test_a_difference_is_an_association_with_its_range_and_e_value(plan):
    section = compare(0.04, 0.16, plan, e=1.3)
    text = words(section)
    assert (
        "resolved within 30 days, 10 percentage points more after another maneuver (4 to 16)"
        in text
    )
    assert "association" in text
    assert "1.9 times as often" in text
    assert "adherent debris" in text
    assert section["figure"]["svg"].count('class="dot ') == 2
