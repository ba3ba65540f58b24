"""Deliveries of both versions of the data dictionary, from outside: what a coordinator types, and
what becomes of it. The cases were written down before the program was."""

from dataclasses import dataclass, field

import pytest

from pipeline.derivation.examined_days import list_examined_days
from pipeline.intake.receive import receive_delivery
from schemas.delivery import TABLES
from tests.unit.intake.conftest import places_of, plain_tables, rules_of, to_grids, write_csv

V1, V2 = 1, 2
FIELD = "submission"


@dataclass
class Case:
    """What is typed: fields of the submission table (None takes one out), and reasons by row of the
    examinations. What is expected: accepted or not, the rules and columns that are told, the days
    that are planned, and the reasons of test days of EP-1."""

    version: int = V2
    fields: dict = field(default_factory=dict)
    reasons: tuple | None = None
    accepted: bool = True
    problems: tuple = ()
    planned: tuple = ()
    days: dict | None = None


# rows of the examinations: EP-1 day 0 right, EP-1 day 0 left, EP-1 day 7, EP-2 day 0
CASES = {
    # version 1, as it always was
    "version 1 as it is": Case(V1, {"usual_confirmation_day": 7}, planned=(("test", 7),)),
    "version 1 without the usual day": Case(V1),
    "version 1, tested again at once": Case(
        V1, {"usual_confirmation_day": 0}, planned=(("test", 0),)
    ),
    "version 1, the usual day in words": Case(
        V1,
        {"usual_confirmation_day": "seven"},
        accepted=False,
        problems=(("submission_incomplete", FIELD, "usual_confirmation_day"),),
    ),
    "version 1 with a column of version 2": Case(
        V1,
        reasons=("planned", None, "planned", None),
        problems=(("column_unknown", "examinations", "reason"),),
        days={0: None, 7: None},
    ),
    "version 1 with a field of version 2": Case(
        V1,
        {"usual_confirmation_day": 7, "planned_test_days": "14"},
        problems=(("column_unknown", FIELD, "field"),),
        planned=(("test", 7),),
    ),
    # version 2
    "version 2 with everything": Case(
        fields={"planned_test_days": "7; 14", "planned_call_days": "3"},
        reasons=("symptoms", "symptoms", "planned", "other"),
        planned=(("call", 3), ("test", 7), ("test", 14)),
        days={0: "symptoms", 7: "planned"},
    ),
    "one day, as a number": Case(
        fields={"planned_test_days": 7},
        reasons=(None,) * 4,
        planned=(("test", 7),),
        days={0: None, 7: None},
    ),
    "no plan, fields left empty": Case(
        fields={"planned_test_days": None, "planned_call_days": ""}, reasons=(None,) * 4
    ),
    "no plan, no fields": Case(reasons=("unknown",) * 4, days={0: "unknown", 7: "unknown"}),
    "no column of reasons": Case(
        fields={"planned_test_days": "7"},
        problems=(("column_absent", "examinations", "reason"),),
        planned=(("test", 7),),
    ),
    "no blank behind the semicolon": Case(
        fields={"planned_test_days": "7;14;30"},
        reasons=(None,) * 4,
        planned=(("test", 7), ("test", 14), ("test", 30)),
    ),
    "days in another order": Case(
        fields={"planned_call_days": "21; 3"},
        reasons=(None,) * 4,
        planned=(("call", 3), ("call", 21)),
    ),
    "a comma with a blank": Case(
        fields={"planned_test_days": "7, 14"},
        reasons=(None,) * 4,
        planned=(("test", 7), ("test", 14)),
    ),
    **{
        f"not a list of days: {what}": Case(
            fields={name: typed},
            reasons=(None,) * 4,
            accepted=False,
            problems=(("submission_incomplete", FIELD, name),),
        )
        for what, name, typed in (
            ("a comma alone may be a decimal one", "planned_test_days", "7,14"),
            ("half a day", "planned_test_days", "7.5"),
            ("before the maneuver", "planned_test_days", "-7"),
            ("more than a year", "planned_call_days", "400"),
            ("words", "planned_test_days", "one week"),
            ("a word among days", "planned_test_days", "7; later"),
            ("one day twice", "planned_test_days", "7; 7"),
            ("nothing behind the last semicolon", "planned_test_days", "7; 14;"),
            ("a span", "planned_call_days", "3 to 5"),
            ("a word for nothing", "planned_call_days", "none"),
        )
    },
    "what a spreadsheet makes a date of": Case(
        fields={"planned_test_days": "2026-07-14"},
        reasons=(None,) * 4,
        accepted=False,
        problems=(("calendar_date", FIELD, "value"),),
    ),
    "the old field in version 2": Case(
        fields={"usual_confirmation_day": 7},
        reasons=(None,) * 4,
        problems=(("column_unknown", FIELD, "field"),),
    ),
    "a version that is not there yet": Case(
        3,
        reasons=(None,) * 4,
        accepted=False,
        problems=(("future_dictionary", FIELD, "dictionary_version"),),
    ),
    "told on one row of a day": Case(
        reasons=(None, "symptoms", None, None), days={0: "symptoms", 7: None}
    ),
    "rows of one day contradict each other": Case(
        reasons=("planned", "symptoms", "planned", None),
        problems=(("reasons_differ", "examinations", "reason"),),
        days={0: None, 7: "planned"},
    ),
    "unknown contradicts nothing": Case(
        reasons=("unknown", "planned", None, None), days={0: "planned", 7: None}
    ),
    "capitals": Case(
        reasons=("Planned",) * 4, problems=(("read_with_help", "examinations", "reason"),)
    ),
    "a misspelt reason": Case(
        reasons=("planned", "planned", "symptom", None),
        problems=(("not_in_list", "examinations", "reason"),),
        days={0: "planned"},
    ),
    "a reason in words of one's own": Case(
        reasons=("planned", "planned", "fell again", None),
        problems=(("not_in_list", "examinations", "reason"),),
        days={0: "planned"},
    ),
}


def fill_in_the_rest(tables: dict) -> None:
    """What version 2 asks besides plans and reasons, left empty."""
    for name, model in TABLES.items():
        new = [column for column, d in model.describe().items() if d.versions == (V2,)]
        for row in tables[name]:
            row.update(dict.fromkeys(column for column in new if column != "reason"))


def hand_in(case: Case) -> dict:
    """The tables of a case."""
    tables = plain_tables()
    del tables["submission"]["usual_confirmation_day"]
    tables["submission"] |= {"dictionary_version": case.version} | case.fields
    first, *_, last = tables["examinations"]
    other = first | {"side": "left", "vertical": "none", "torsion": "none"}
    other |= {"latency_s": None, "duration_s": None, "vertigo": "none"}
    tables["examinations"] = [first, other, last, first | {"episode_id": "EP-2"}]
    if case.version >= V2:
        fill_in_the_rest(tables)
    if case.reasons is not None:
        for row, reason in zip(tables["examinations"], case.reasons, strict=True):
            row["reason"] = reason
    return tables


@pytest.mark.parametrize("name", CASES)
def test_a_delivery_of_either_version_ends_as_expected(receive, name):
    case = CASES[name]
    received = receive(hand_in(case))
    assert received.accepted is case.accepted
    problems = received.tables["problems"]
    rules = problems[["rule", "table", "column"]].drop_duplicates().itertuples(index=False)
    assert {tuple(problem) for problem in rules} == set(case.problems)
    planned = received.tables["planned_days"]
    assert tuple(zip(planned["kind"], planned["day"], strict=True)) == case.planned
    if case.days is not None:
        days = list_examined_days(received.tables["examinations"])
        of_episode = days[days["episode_id"].eq("EP-1")]
        reasons = of_episode["reason"].astype(object).where(of_episode["reason"].notna(), None)
        assert dict(zip(of_episode["day"], reasons, strict=True)) == case.days


def test_both_rows_that_contradict_each_other_are_named_and_stay(receive):
    received = receive(hand_in(CASES["rows of one day contradict each other"]))
    assert places_of(received, "reasons_differ") == [
        ("examinations", 2, "reason"),
        ("examinations", 3, "reason"),
    ]
    assert received.tables["examinations"]["reason"].tolist()[:2] == ["planned", "symptoms"]
    assert len(received.tables["examinations"]) == 4


def test_days_in_several_cells_beside_each_other_are_told(folder, plan):
    grids = to_grids(hand_in(Case(fields={"planned_test_days": 7}, reasons=(None,) * 4)))
    grids["submission"][-1].append(14)
    received = receive_delivery(write_csv(folder, grids), plan)
    assert rules_of(received, "refuse") == {"submission_incomplete"}
    assert places_of(received, "submission_incomplete")[0][2] == "planned_test_days"


def test_a_cell_beside_the_usual_day_of_version_1_changes_nothing(folder, plan):
    grids = to_grids(hand_in(CASES["version 1 as it is"]))
    grids["submission"][-1].append("days")
    received = receive_delivery(write_csv(folder, grids), plan)
    assert received.accepted
    assert received.tables["planned_days"]["day"].tolist() == [7]


@pytest.mark.parametrize("version", [V1, V2])
def test_the_name_that_a_column_had_in_version_1_is_read(folder, plan, version):
    case = Case(version, reasons=(None,) * 4 if version == V2 else None)
    grids = to_grids(hand_in(case))
    header = grids["examinations"][0]
    header[header.index("examination")] = "look"
    received = receive_delivery(write_csv(folder, grids), plan)
    assert received.accepted
    assert received.tables["examinations"]["examination"].tolist() == [1] * 4
    assert rules_of(received) == (set() if version == V1 else {"read_with_help"})


WARNED = {  # rule and column; table and cells that break it, each time by a little
    ("attack_lengths_agree", "attack_s"): (
        "episodes",
        [
            ({"attack_s": 121, "attacks_over_2min": "no"}, True),
            ({"attack_s": 120, "attacks_over_2min": "yes"}, True),
            ({"attack_s": 120, "attacks_over_2min": "no"}, False),
            ({"attack_s": None, "attacks_over_2min": "yes"}, False),
            ({"attack_s": 600, "attacks_over_2min": "unknown"}, False),
        ],
    ),
    ("standing_is_not_lying_down", "symptoms_only_on_standing"): (
        "episodes",
        [
            ({"symptoms_only_on_standing": "yes", "provoked_by_lying_or_turning": "yes"}, True),
            ({"symptoms_only_on_standing": "yes", "provoked_by_lying_or_turning": "no"}, False),
            ({"symptoms_only_on_standing": None, "provoked_by_lying_or_turning": "yes"}, False),
        ],
    ),
    ("minutes_need_an_attempt", "minutes_since_attempt"): (
        "examinations",
        [
            ({"after_attempt": 0, "minutes_since_attempt": 5}, True),
            ({"after_attempt": None, "minutes_since_attempt": 5}, True),
            ({"after_attempt": 1, "minutes_since_attempt": 5}, False),
        ],
    ),
}


@pytest.mark.parametrize("place", WARNED)
def test_what_contradicts_itself_in_version_2_is_told_and_stays(receive, place):
    rule, column = place
    table, cases = WARNED[place]
    for cells, told in cases:
        tables = hand_in(Case(reasons=(None,) * 4))
        tables[table][0].update(cells)
        received = receive(tables)
        assert places_of(received, rule) == ([(table, 2, column)] if told else [])
        assert len(received.tables[table]) == len(tables[table])


EVENTS = {  # what is typed: what is kept, or None where the row is set aside
    "nausea; neck_pain": "nausea; neck_pain",
    "Neck pain;nausea": "nausea; neck_pain",
    "neck_pain, nausea, vomiting": "nausea; vomiting; neck_pain",
    "nausea; nausea": "nausea",
    "none": "none",
    "none; nausea": None,
    "nausea; dizzy": None,
}


@pytest.mark.parametrize("version", [V1, V2])
@pytest.mark.parametrize("typed", EVENTS)
def test_several_adverse_events_are_read_in_one_cell(receive, version, typed):
    tables = hand_in(Case(version, reasons=None if version == V1 else (None,) * 4))
    tables["treatments"][0]["adverse"] = typed
    received = receive(tables)
    assert received.accepted
    kept = received.tables["treatments"]["adverse"].tolist()
    assert kept[: len(kept) - 2] == [EVENTS[typed]] * (EVENTS[typed] is not None)
    if EVENTS[typed] is None:
        assert places_of(received, "not_in_list") == [("treatments", 2, "adverse")]
