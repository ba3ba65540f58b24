"""Harm: what was recorded, with its interval, and no word where there is no number."""

from pipeline.reports.committee.harm import NOTHING, describe_harm
from tests.unit.reports.committee.sections import number, table, words

ANY = number("adverse_any", 0.15, lower=0.12, upper=0.18)


def describe(plan, *rows: dict) -> dict:
    return describe_harm(table("adverse_events", list(rows), "positional", None), plan)


def test_without_numbers_nothing_can_be_told(plan):
    section = describe_harm({}, plan)
    assert section["sentences"] == [NOTHING]
    assert section["finding"] == ""
    assert section["table"] is None


def test_what_was_recorded_is_told_with_its_interval_and_by_maneuver(plan):
    section = describe(
        plan,
        ANY,
        number("adverse_nausea", 0.1, lower=0.08, upper=0.13),
        ANY | {"stratum": "family=epley", "estimate": 0.2, "lower": 0.1, "upper": 0.3},
        ANY | {"stratum": "neck_limitation=yes", "estimate": 0.3, "lower": 0.2, "upper": 0.4},
        ANY | {"stratum": "place=clinic"},
    )
    assert "about 15 % (between 12 and 18 %)" in section["finding"].replace("\u00a0", " ")
    assert "Nausea or vomiting about 10 % (between 8 and 13 %)" in words(section)
    groups = {group["heading"]: group["rows"] for group in section["table"]["groups"]}
    assert {heading: len(rows) for heading, rows in groups.items()} == {
        "First maneuver": 1,
        "Neck": 1,
    }
    assert "20" in groups["First maneuver"][0]["cells"][0]


def test_debris_that_moved_is_told_though_nobody_noticed_it(plan):
    rows = [number("incidence_switched_day_30", 0.04, lower=0.03, upper=0.05)]
    text = words(describe_harm(table("competing_events", rows), plan))
    assert "by day 30, in about 4 % (between 3 and 5 %)" in text
    assert "can be missed" in text


def test_orders_of_maneuvers_are_told_by_what_they_would_bring_to_100_patients(plan):
    term, usual = "mean_sessions_with_adverse_event", "usual strategy"
    orders = [
        (f"variant=posterior_long_arm,strategy={name}", mean)
        for name, mean in (("epley", 0.2), ("epley > semont", 0.25), ("semont", 0.4))
    ]
    rows = [number(term, m, lower=m - 0.1, upper=m + 0.1, stratum=s) for s, m in orders]
    rows += [
        number(f"difference_{term}", m - 0.2, lower=m - 0.5, upper=m, stratum=s)
        | {"comparison": usual}
        for s, m in orders[1:]
    ]
    text = words(describe_harm(table("strategies", rows), plan)).replace("\u00a0", " ")
    assert "20 to 40 sessions with an adverse event" in text
    assert "none of 2 orders differs clearly" in text.replace("  ", " ")
    rows[-1] |= {"lower": 0.05}
    text = words(describe_harm(table("strategies", rows), plan)).replace("\u00a0", " ")
    assert "1 of 2 orders differs clearly" in text
