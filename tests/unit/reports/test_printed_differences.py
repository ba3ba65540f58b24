"""A page that prints two numbers and how far they lie apart prints what a reader finds who
subtracts the one from the other."""

import re

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipeline.reports.committee.afterwards import describe_handicap
from pipeline.reports.committee.second_line import describe_second_line
from pipeline.reports.readings import Reading, as_printed, subtract_printed
from pipeline.reports.wording import say_percent
from pipeline.statistics.tidy import state, tidy_estimates
from tests.printed_differences import read_number

SECOND = {
    "analysis": "second_line",
    "population": "positional, first session failed",
    "endpoint": "objective",
}
HANDICAP = {"analysis": "handicap_change", "population": "positional", "endpoint": "objective"}
MANY = {"n_episodes": 300, "n_sites": 9, "method": "m", "stratum": "all"}


def compare(name: str, terms: dict[str, float], reach: float) -> list[dict]:
    """Two numbers by their terms, and the second less the first."""
    first, second = terms.values()
    printed = [
        state(term, value, lower=value, upper=value, **MANY) for term, value in terms.items()
    ]
    ends = {
        "lower": second - first - reach,
        "upper": second - first + reach,
        "comparison": "repeat",
    }
    return [*printed, state(name, second - first, **ends, **MANY)]


@settings(max_examples=25)
@given(
    *(st.floats(0.02, 0.98) for _ in range(4)),
    *(st.floats(0, 30) for _ in range(2)),
    st.floats(0, 0.2),
)
@example(0.654, 0.706, 0.5, 0.505, 13.04, 14.06, 0.001)
def test_the_second_line_adds_up(
    plan, early, early_other, late, late_other, days, days_other, reach
):
    shares = {7: (early, early_other), 30: (late, late_other)}
    rows = [
        row
        for day, pair in shares.items()
        for row in compare(
            f"risk_difference_day_{day}",
            dict(zip((f"risk_repeat_day_{day}", f"risk_change_day_{day}"), pair, strict=True)),
            reach,
        )
    ]
    rows += compare(
        "mean_days_difference",
        {"mean_days_repeat": days, "mean_days_change": days_other},
        30 * reach,
    )
    section = describe_second_line({"second_line": tidy_estimates(rows, **SECOND)}, plan)
    printed = [row["cells"] for group in section["table"]["groups"] for row in group["rows"]]
    assert len(printed) == 3
    numbers = [[read_number(cell) for cell in cells] for cells in printed]
    for first, second, difference in numbers:
        assert difference == pytest.approx(second - first, abs=1e-9)
    shown = re.findall(
        r"(?<!less than )(\b[\d.]+)\s(?:percentage points?|days) (?:more|fewer) after (?:another|"
        r"the same)",
        section["finding"],
    )
    assert {float(number) for number in shown} <= {abs(difference) for *_, difference in numbers}


@settings(max_examples=25)
@given(st.floats(20, 80), st.lists(st.floats(0, 100), min_size=3, max_size=3), st.floats(0, 10))
@example(43.65, [31.51, 23.60, 15.35], 5.0)
def test_the_course_of_handicap_adds_up(plan, start, means, reach):
    days = plan.study.handicap.days
    rows = [state("mean_day_0", start, lower=start, upper=start, **MANY)]
    for day, mean in zip(days, means, strict=True):
        rows.append(state(f"mean_day_{day}", mean, lower=mean, upper=mean, **MANY))
        ends = {"lower": mean - start - reach, "upper": mean - start + reach, "comparison": "day 0"}
        rows.append(state(f"change_by_day_{day}", mean - start, **ends, **MANY))
    section = describe_handicap({"handicap_change": tidy_estimates(rows, **HANDICAP)}, plan)
    printed = dict(
        re.findall(r"by day (\d+) it was (\d+\spoints? (?:lower|higher))", section["finding"])
    )
    for day, mean in zip(days, means, strict=True):
        if str(day) in printed:
            number, side = re.split(r"\spoints? ", printed[str(day)])
            assert (-int(number) if side == "lower" else int(number)) == int(f"{mean:.0f}") - int(
                f"{start:.0f}"
            )


def test_a_change_whose_range_leaves_both_ways_open_names_none(plan):
    rows = [
        state("mean_day_0", 40.0, lower=38.0, upper=42.0, **MANY),
        state("mean_day_7", 39.0, lower=34.0, upper=43.0, **MANY),
    ]
    rows.append(state("change_by_day_7", -1.0, lower=-5.0, upper=3.0, comparison="day 0", **MANY))
    sentence = describe_handicap({"handicap_change": tidy_estimates(rows, **HANDICAP)}, plan)[
        "finding"
    ]
    assert sentence == (
        "The mean total after the first maneuver: by day 7 it was between 5 points lower and 3 "
        "points higher."
    )


@given(st.floats(0.01, 0.99))
def test_a_percentage_is_rounded_as_it_is_printed(share):
    assert float(re.match(r"\d+", say_percent(share)).group()) == as_printed(share, 100)


def test_where_one_number_is_missing_the_difference_stays():
    difference, known = (Reading(estimate=x, lower=x, upper=x, status="ok") for x in (0.123, 0.5))
    assert subtract_printed(difference, known, Reading(), 100) == difference
