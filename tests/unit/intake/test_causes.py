"""One cause, one entry: whatever else follows from it, a coordinator reads of each thing to mend
once."""

import pytest

from pipeline.intake.receive import receive_delivery
from pipeline.intake.report import answer, name_part
from pipeline.intake.terminal import list_groups
from tests.unit.intake.conftest import plain_tables, to_grids, write_csv
from tests.unit.intake.test_recognised import add_row
from tests.unit.intake.test_rules import episodes_in_order

NUMBER = 12


def add_column(table, header, make):
    """A further column whose cells are made from the number of their row."""

    def change(grids):
        for number, row in enumerate(grids[table]):
            row.append(make(number) if number else header)

    return change


def fill(table, column, make):
    """The cells of a column made anew from the number of their row."""

    def change(grids):
        position = grids[table][0].index(column)
        for number, row in enumerate(grids[table][1:]):
            row[position] = make(number)

    return change


def plant_second_header(grids):
    grids["examinations"].insert(9, list(grids["examinations"][0]))


def plant_total_with_more(grids):
    grids["episodes"].append(["TOTAL", 12] + [None] * len(grids["episodes"][0]) + [7])


def plant_field(grids):
    grids["submission"].append(["patient_name", "x"])


UNITS = ("days", "-", "-", "-", "-", "-", "-", "-", "s", "s")
CAUSES = {
    "names": (
        "identifier_column",
        add_column("episodes", "patient_name", lambda n: f"Given{n} Family{n * 7}"),
    ),
    "telephone numbers": (
        "identifier_column",
        add_column("episodes", "telephone", lambda n: f"+49 171 23456{n:02}"),
    ),
    "numbers in a column of one cell": (
        "identifier_column",
        add_column("episodes", "telephone", lambda n: "+49 171 2345678" if n == 3 else None),
    ),
    "dates": ("calendar_date", add_column("episodes", "first_visit", lambda n: f"2024-03-{n:02}")),
    "remarks": (
        "free_text",
        add_column(
            "treatments", "remarks", lambda n: f"called back on day {n} because of dizziness"
        ),
    ),
    "remarks with telephone numbers": (
        "free_text",
        add_column(
            "treatments", "remarks", lambda n: f"call the daughter under 0171 23456{n:02} please"
        ),
    ),
    "a field with a name": ("identifier_column", plant_field),
    "units": ("units_row", add_row("examinations", *UNITS, at=1, under=1)),
    "a total": ("summary_row", add_row("episodes", "TOTAL", 12, 1130)),
    "a total and a cell beside the table": ("summary_row", plant_total_with_more),
    "a second header": ("repeated_header", plant_second_header),
    "a note": ("note_row", add_row("treatments", "Source: database of the clinic, second export")),
    "a note with a date": (
        "calendar_date",
        add_row("treatments", "Source: database of the clinic, 12.03.2024"),
    ),
    "minutes for seconds": (
        "unit_unlikely",
        fill("examinations", "duration_s", lambda n: 0.3 + n % 7 / 100),
    ),
    "times exchanged": (
        "latency_above_duration",
        fill("examinations", "latency_s", lambda n: 40 + n % 7),
    ),
    "0 for empty": ("zero_for_empty", fill("examinations", "duration_s", lambda n: 0)),
}


def receive(folder, plan, change=lambda grids: None, previous=None):
    grids = to_grids(episodes_in_order(NUMBER))
    change(grids)
    return receive_delivery(write_csv(folder, grids), plan, previous)


def list_head(received) -> list[tuple]:
    """Rule and place of each entry that a coordinator is asked to mend or to confirm."""
    problems = received.tables["problems"]
    head = problems[name_part(problems).ne("warn")]
    return [
        (group["rule"].iloc[0], group["table"].iloc[0], group["column"].iloc[0])
        for group in list_groups(head)
    ]


@pytest.mark.parametrize("cause", CAUSES)
def test_each_cause_is_told_once(cause, tmp_path, plan):
    rule, change = CAUSES[cause]
    usual = list_head(receive(tmp_path / "usual" / "S01" / "001", plan))
    causes = list_head(receive(tmp_path / "S01" / "001", plan, change))
    assert [entry[0] for entry in causes if entry not in usual] == [rule]


def test_a_note_that_a_column_is_unknown_stays_where_nothing_surer_is_told(folder, plan):
    received = receive(folder, plan, add_column("episodes", "weight_class", lambda n: n % 3))
    assert received.tables["problems"]["rule"].eq("column_unknown").sum() == 1


def test_what_identifies_elsewhere_is_told_besides(folder, plan):
    def change(grids):
        add_column("episodes", "patient_name", lambda n: f"Given{n} Family{n * 7}")(grids)
        fill("followups", "contact", lambda n: "x@clinic.example" if n == 4 else "phone")(grids)

    rules = [entry[0] for entry in list_head(receive(folder, plan, change))]
    assert {"identifier_column", "email_address"} <= set(rules)


def test_an_empty_delivery_leaves_nothing_out_besides(tmp_path, plan):
    before = receive(tmp_path / "S01" / "001", plan)

    def empty(grids):
        for name in ("episodes", "examinations", "treatments", "followups"):
            del grids[name][1:]

    causes = list_head(receive(tmp_path / "S01" / "002", plan, empty, previous=before))
    assert [entry[0] for entry in causes if "delivery" not in entry[0]] == ["table_without_rows"]


def test_the_first_sentence_says_that_something_is_to_be_confirmed(tmp_path, plan):
    tables = plain_tables()
    clear = receive_delivery(write_csv(tmp_path / "S01" / "001", to_grids(tables)), plan)
    assert answer(clear) == "Your delivery can be pooled: all 13 rows are stored."
    change = CAUSES["minutes for seconds"][1]
    doubtful = receive(tmp_path / "other" / "S01" / "001", plan, change)
    n_doubts = len(list_head(doubtful))
    assert n_doubts
    things = "1 thing" if n_doubts == 1 else f"{n_doubts} things"
    assert answer(doubtful).startswith(
        f"Your delivery can be pooled; {things} to confirm first: all "
    )
