"""A site's plan beside what came of it: who is asked for a test or a call, and whose came."""

import pandas as pd

from pipeline.reports.site.planned import WITHIN, list_planned
from pipeline.reports.site.records import SiteRecords


def plan_of(
    planned: list[tuple[str, int]],
    sessions: list[tuple[str, int, int]] = (),
    tests: list[tuple[str, int]] = (),
    contacts: list[tuple[str, int, str]] = (),
) -> list[dict]:
    """By episode and day: sessions with their number, tests, and contacts with their kind."""
    tables = {
        "planned_days": pd.DataFrame(planned, columns=["kind", "day"]),
        "attempts": pd.DataFrame(sessions, columns=["episode_id", "session", "day"]),
        "examinations": pd.DataFrame(tests, columns=["episode_id", "day"]),
        "followups": pd.DataFrame(contacts, columns=["episode_id", "day", "contact"]),
    }
    return list_planned(SiteRecords("S01", tables))


def test_a_test_counts_within_two_days_of_its_day_and_no_further():
    sessions = [(f"EP-{k}", 1, 0) for k in range(4)]
    tests = [("EP-0", 7 - WITHIN), ("EP-1", 7 + WITHIN), ("EP-2", 8 + WITHIN), ("EP-3", 0)]
    (line,) = plan_of([("test", 7)], sessions, tests)
    assert (line["asked"], line["came"]) == (4, 2)
    assert "7\N{NO-BREAK SPACE}days" in line["planned"]


def test_days_of_tests_count_from_the_maneuver_and_those_of_calls_from_day_0():
    sessions = [("EP-0", 1, 5)]
    tests, calls = [("EP-0", 12)], [("EP-0", 12, "telephone")]
    lines = plan_of([("call", 12), ("test", 7)], sessions, tests, calls)
    assert [(line["asked"], line["came"]) for line in lines] == [(1, 1), (1, 1)]
    assert [line["planned"].split()[1] for line in lines] == ["test", "call"]
    assert plan_of([("call", 7)], sessions, tests, calls)[0]["came"] == 0


def test_whoever_is_treated_again_before_the_day_is_not_asked_for_the_test():
    sessions = [("EP-0", 1, 0), ("EP-0", 2, 6), ("EP-1", 1, 0), ("EP-1", 2, 7)]
    (line,) = plan_of([("test", 7)], sessions, [("EP-1", 7)])
    assert (line["asked"], line["came"]) == (1, 1)


def test_a_visit_is_no_call():
    (line,) = plan_of([("call", 3)], [("EP-0", 1, 0)], [], [("EP-0", 3, "clinic")])
    assert (line["asked"], line["came"]) == (1, 0)


def test_without_a_plan_or_a_treated_episode_nothing_is_listed():
    assert plan_of([], [("EP-0", 1, 0)]) == []
    assert plan_of([("test", 7), ("call", 3)]) == []
