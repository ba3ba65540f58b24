"""Technique and place: a direction only where the interval has one."""

import pytest

from pipeline.reports.committee.technique import POPULATION, describe_technique
from tests.unit.reports.committee.sections import number, table, words


def describe(low: float, high: float, *ratios: dict) -> dict:
    avoided = number("failures_avoided", (low + high) / 2, lower=low, upper=high)
    return describe_technique(table("technique", [avoided, *ratios], POPULATION, None))


def ratio(term: str, reference: str, low: float, high: float) -> dict:
    return number(term, (low + high) / 2, lower=low, upper=high, comparison=reference)


def test_a_part_that_may_be_none_cannot_be_told_yet():
    finding = describe(-0.27, 0.28)["finding"].replace("\u00a0", " ")
    assert "cannot tell yet" in finding
    assert "between 27 % more and 28 % fewer" in finding


def test_a_part_above_none_is_an_association():
    finding = describe(0.1, 0.3)["finding"].replace("\u00a0", " ")
    assert "20 % (between 10 and 30 %)" in finding
    assert "association" in finding
    assert "cannot tell" not in finding


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (0.2, 0.8, "A negative test followed less often where not all positions"),
        (1.2, 1.8, "A negative test followed more often where not all positions"),
        (0.8, 1.2, "There is no clear difference where not all positions"),
    ],
)
def test_a_ratio_has_a_direction_only_where_its_interval_excludes_one(low, high, said):
    section = describe(-0.2, 0.2, ratio("completed=no", "completed=yes", low, high))
    assert said in words(section)
    assert "the pool cannot tell yet where the session was at home" in words(section)
    cells = section["table"]["groups"][0]["rows"][0]["cells"]
    assert f"({low:.2f} to {high:.2f})" in cells[0].replace("\u00a0", " ")


def test_a_place_is_told_with_how_many_first_sessions_were_there():
    rows = [
        number("failures_avoided", 0.1, lower=-0.2, upper=0.3),
        ratio("place=home alone", "place=clinic", 0.5, 0.9),
    ]
    counted = [
        number("adverse_any", 0.1, f"place={place}", n_episodes=n)
        for place, n in (("clinic", 300), ("home alone", 40))
    ]
    tables = table("technique", rows, POPULATION, None)
    tables |= table("adverse_events", counted, "positional", None)
    text = words(describe_technique(tables))
    assert "less often where the session was at home alone (40 first sessions, ratio 0.70," in text
    assert "compared with the clinic (300 first sessions)" in text


def test_without_numbers_nothing_can_be_told():
    section = describe_technique({})
    assert section["table"] is None
    assert "cannot tell yet" in words(section)
