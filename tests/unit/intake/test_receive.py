"""What becomes of a delivery as a whole: rows, counts, changes,
and what a refused one leaves behind."""

import json

import pandas as pd
import pytest

from pipeline.intake.receive import receive_delivery
from pipeline.intake.report import format_problems
from schemas.columns import RULES
from schemas.delivery import TABLES
from schemas.store import KEPT
from schemas.warehouse import columns_of
from tests.unit.intake.conftest import places_of, rules_of, to_grids, write_csv


def changes_of(received) -> dict[str, str]:
    return received.tables["changes"].set_index("episode_id")["change"].to_dict()


def test_every_table_has_the_columns_and_types_of_its_schema(receive, tables):
    for received in (receive(tables), receive({"submission": tables["submission"]})):
        assert set(received.tables) == {*TABLES, *KEPT}
        for name, rows in received.tables.items():
            assert rows.dtypes.to_dict() == {
                column: d.dtype for column, d in columns_of(name).items()
            }


def test_a_clean_delivery_is_stored_whole(receive, tables):
    received = receive(tables)
    assert received.accepted
    assert received.tables["problems"].empty
    counts = received.tables["row_counts"].set_index("table")
    assert counts["rows_in"].to_dict() == {name: len(tables[name]) for name in TABLES}
    assert counts["rows_stored"].equals(counts["rows_in"])
    delivery = received.tables["deliveries"].iloc[0]
    assert (delivery["first_year"], delivery["short_arm_basis"]) == (2023, "sitting_up")
    planned = received.tables["planned_days"]
    assert planned[["kind", "day"]].to_numpy().tolist() == [["test", 7]]
    assert not delivery["is_current"]
    assert received.tables["episodes"]["row"].tolist() == [2, 3, 4]


def test_an_age_of_90_and_above_is_stored_as_90(receive, tables):
    tables["episodes"][0]["age_years"] = "90+"
    assert receive(tables).tables["episodes"]["age_years"].tolist() == [90, 57, 57]


def test_a_set_aside_row_is_kept_as_handed_in_with_all_its_reasons(receive, tables):
    tables["episodes"][0] |= {"sex": "F", "onset_day": "three"}
    received = receive(tables)
    aside = received.tables["set_aside"].query("table == 'episodes'").iloc[0]
    assert (aside["row"], aside["episode_id"], aside["rules"]) == (
        2,
        "EP-1",
        "not_a_whole_number not_in_list",
    )
    assert json.loads(aside["cells"])["sex"] == "F"
    problems = received.tables["problems"].query("table == 'episodes'")
    listed = problems[["episode_id", "value", "rule"]].astype(object)
    assert listed.where(listed.notna(), None).to_records(index=False).tolist() == [
        ("EP-1", "F", "not_in_list"),
        ("EP-1", None, "not_a_whole_number"),
    ]
    assert problems["how_to_fix"].iloc[0].endswith("Did you mean female?")


def test_a_wrong_cell_is_blamed_once_and_judges_no_other(receive, tables):
    # not also: arm_basis is empty
    tables["episodes"][0] |= {"recorded_arm": "short", "arm_basis": "siting_up"}
    # not also: other_diagnosis_day is empty
    tables["episodes"][1] |= {"other_diagnosis": "migrane"}
    tables["episodes"][2] |= {"sex": "femal", "recorded_arm": "short"}  # but both here
    problems = receive(tables).tables["problems"].query("table == 'episodes'")
    assert problems[["row", "rule"]].to_records(index=False).tolist() == [
        (2, "not_in_list"),
        (3, "not_in_list"),
        (4, "not_in_list"),
        (4, "short_arm_needs_basis"),
    ]


def test_a_maneuver_written_in_words_is_a_misspelt_code(receive, tables):
    tables["treatments"][0]["maneuver"] = "Epley maneuver"
    tables["treatments"][1]["maneuver"] = None
    problems = receive(tables).tables["problems"].dropna(subset="row").set_index("row")
    assert problems["rule"].to_dict() == {2: "maneuver_unknown", 3: "not_filled"}
    assert problems.at[2, "how_to_fix"].endswith("Did you mean epley?")


def test_the_children_of_an_episode_that_was_handed_in_twice_go_with_it(receive, tables):
    tables["episodes"].append(dict(tables["episodes"][1]))
    received = receive(tables)
    assert places_of(received, "same_key_twice") == [
        ("episodes", 3, "episode_id"),
        ("episodes", 5, "episode_id"),
    ]
    assert [place[0] for place in places_of(received, "episode_set_aside")] == [
        "examinations",
        "treatments",
        "treatments",
        "followups",
    ]


def test_from_the_first_gap_on_attempts_are_set_aside(receive, tables):
    row = tables["treatments"][1]
    tables["treatments"] = [row | {"attempt": n, "day": n - 1} for n in (5, 1, 2, 4)]
    received = receive(tables)
    assert places_of(received, "attempts_have_a_gap") == [
        ("treatments", 2, "attempt"),
        ("treatments", 5, "attempt"),
    ]
    assert received.tables["treatments"]["attempt"].tolist() == [1, 2]


def test_the_order_of_rows_changes_row_numbers_only(receive, tables):
    tables["treatments"][0]["side"] = "none"
    tables["followups"].append(tables["followups"][0])
    one = receive(tables)
    other = receive(
        {name: rows if name == "submission" else rows[::-1] for name, rows in tables.items()}
    )
    for name in TABLES:
        columns = [column for column in TABLES[name].describe() if column in one.tables[name]]
        first, second = (
            received.tables[name][columns].sort_values(columns, ignore_index=True)
            for received in (one, other)
        )
        pd.testing.assert_frame_equal(first, second)
    what = ["table", "episode_id", "column", "value", "rule"]
    first, second = (
        received.tables["problems"][what].sort_values(what, ignore_index=True)
        for received in (one, other)
    )
    pd.testing.assert_frame_equal(first, second)


def test_a_delivery_without_rows_is_accepted(receive, tables):
    received = receive(
        {name: rows if name == "submission" else [] for name, rows in tables.items()}
    )
    assert received.accepted
    assert received.tables["row_counts"]["rows_in"].sum() == 0


@pytest.mark.parametrize("fault", [{"telephone": "202-555-0143"}, {"age_years": 95}])
def test_a_refused_delivery_is_counted_and_leaves_no_row_and_no_value(receive, tables, fault):
    tables["episodes"][0] |= fault | {"sex": "femal"}
    received = receive(tables)
    assert not received.accepted
    assert all(received.tables[name].empty for name in (*TABLES, "set_aside", "changes"))
    counts = received.tables["row_counts"].set_index("table")
    assert counts["rows_refused"].to_dict() == {name: len(tables[name]) for name in TABLES}
    assert counts[["rows_stored", "rows_set_aside"]].sum().sum() == 0
    assert received.tables["problems"]["value"].isna().all()
    assert received.tables["deliveries"][["first_year", "short_arm_basis"]].isna().all(axis=None)


@pytest.mark.parametrize(
    "field",
    [
        "site_code",
        "delivery",
        "dictionary_version",
        "deidentified",
        "first_year",
        "last_year",
        "short_arm_basis",
    ],
)
def test_a_field_that_is_missing_or_wrong_refuses(receive, tables, field):
    missing = {name: value for name, value in tables["submission"].items() if name != field}
    received = receive(tables | {"submission": missing})
    assert places_of(received, "submission_incomplete") == [("submission", None, field)]
    received = receive(tables | {"submission": tables["submission"] | {field: "qq"}})
    assert rules_of(received, "refuse") == {
        "not_deidentified" if field == "deidentified" else "submission_incomplete"
    }
    assert "set_aside" not in set(received.tables["problems"]["severity"])


def test_a_field_told_twice_refuses(folder, plan, tables):
    grids = to_grids(tables)
    grids["submission"].append(["first_year", 2020])
    assert rules_of(receive_delivery(write_csv(folder, grids), plan)) == {"submission_incomplete"}


def test_the_optional_field_may_be_missing_and_an_unknown_one_is_shown(receive, tables):
    fields = tables["submission"]
    del fields["usual_confirmation_day"]
    fields["usual_day"] = 7
    received = receive(tables)
    assert received.accepted
    assert places_of(received, "column_unknown") == [("submission", 9, "field")]


def test_changes_are_told_by_episode_whatever_table_they_are_in(receive, tables):
    first = receive(tables)
    assert first.tables["changes"].empty
    assert first.compared_with is None
    again = receive(tables, previous=first)
    assert (changes_of(again), again.compared_with) == ({}, "001")
    tables["followups"][0]["dhi_total"] = 14  # EP-1
    tables["episodes"][2]["episode_id"] = "EP-9"
    for table in ("examinations", "followups"):
        tables[table][2]["episode_id"] = "EP-9"
    received = receive(tables, previous=first)
    assert changes_of(received) == {"EP-1": "changed", "EP-3": "withdrawn", "EP-9": "added"}
    assert set(received.tables["changes"]["previous_delivery"]) == {"001"}


def test_a_test_that_is_gone_changes_its_episode(receive, tables):
    first = receive(tables)
    del tables["examinations"][3]
    assert changes_of(receive(tables, previous=first)) == {"EP-1": "changed"}


def test_an_episode_that_is_now_set_aside_is_changed_not_withdrawn_and_back_again(receive, tables):
    first = receive(tables)
    tables["episodes"][0]["sex"] = "femal"
    second = receive(tables, previous=first)
    assert changes_of(second) == {"EP-1": "changed"}
    tables["episodes"][0]["sex"] = "female"
    assert changes_of(receive(tables, previous=second)) == {"EP-1": "changed"}


def test_a_refused_delivery_has_no_changes(receive, tables):
    first = receive(tables)
    tables["submission"]["deidentified"] = "no"
    refused = receive(tables, previous=first)
    assert (changes_of(refused), refused.compared_with) == ({}, None)


def test_problems_take_severity_and_words_from_their_rule(receive, tables):
    tables["episodes"][0] |= {"sex": "femal", "onset_day": 3, "patient_id": "PT_1"}
    tables["followups"][0]["dhi_total"] = 37
    for problem in receive(tables).tables["problems"].itertuples(index=False):
        assert problem.severity == RULES[problem.rule].severity
        assert "{" not in problem.message + problem.how_to_fix


@pytest.mark.parametrize(
    ("column", "cell", "repeated"),
    [
        ("cause", "idiopathc", True),
        ("cause", "Placeholder", False),
        ("onset_day", "12", True),
        ("onset_day", "soon", False),
    ],
)
def test_a_word_that_is_nearly_no_code_is_not_repeated(receive, tables, column, cell, repeated):
    tables["episodes"][0][column] = cell
    received = receive(tables)
    assert received.tables["problems"]["value"].eq(cell).fillna(False).any() == repeated
    assert (cell in format_problems(received)) == repeated
