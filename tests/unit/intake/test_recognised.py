"""What many tables hold besides records, and what sites say in their own words: each is told once,
as what it is, and refuses nothing."""

import json

import pytest

from pipeline.intake.receive import receive_delivery
from pipeline.intake.terminal import list_groups
from schemas.rules import PLAUSIBILITY_RULES
from schemas.site_map import SiteMap
from tests.unit.intake.conftest import places_of, plain_tables, rules_of, to_grids, write_csv
from tests.unit.intake.test_rules import episodes_in_order


def receive_grids(folder, plan, change, number=12):
    grids = to_grids(episodes_in_order(number))
    change(grids)
    return receive_delivery(write_csv(folder, grids), plan)


def add_row(table, *cells, at=None, under=0):
    """A row with these cells from the column `under` on, at the end or at a place."""

    def change(grids):
        row = [None] * under + [*cells]
        grids[table].insert(
            len(grids[table]) if at is None else at,
            row + [None] * (len(grids[table][0]) - len(row)),
        )

    return change


ROWS = {
    "a total": ("summary_row", add_row("episodes", "TOTAL", 12, 1130)),
    "an average": ("summary_row", add_row("episodes", "Average", None, 61.384615384)),
    "a mean with its label elsewhere": ("summary_row", add_row("episodes", "Mean:", 94.5, under=1)),
    "a total without a label": ("summary_row", add_row("examinations", 120, 44, 71, under=2)),
    "a number of episodes": ("summary_row", add_row("episodes", "N = 12")),
    "a total in German": ("summary_row", add_row("treatments", "Summe", None, 12)),
    "units": (
        "units_row",
        add_row(
            "examinations",
            "days",
            None,
            None,
            None,
            None,
            None,
            None,
            None,
            "s",
            "s",
            "deg/s",
            at=1,
            under=1,
        ),
    ),
    "a legend": ("note_row", add_row("episodes", "* age at the first visit")),
    "a source": (
        "note_row",
        add_row("treatments", "Source: database of the clinic, second export"),
    ),
}


@pytest.mark.parametrize("case", ROWS)
def test_a_row_that_is_no_record_is_set_aside_as_what_it_is(folder, plan, case):
    rule, change = ROWS[case]
    received = receive_grids(folder, plan, change)
    assert received.accepted, rules_of(received)
    rules = received.tables["problems"]["rule"]
    # rows of the test are copies, which is told as well
    assert rules[~rules.isin(PLAUSIBILITY_RULES)].tolist() == [rule]
    assert received.tables["set_aside"]["cells"].tolist() == ["{}"]


def test_a_second_header_is_told_once(folder, plan):
    received = receive_grids(
        folder, plan, lambda grids: grids["examinations"].insert(9, list(grids["examinations"][0]))
    )
    assert places_of(received, "repeated_header") == [("examinations", 10, None)]
    assert rules_of(received) - PLAUSIBILITY_RULES == {"repeated_header"}


def test_an_identifier_in_such_a_row_is_still_found(folder, plan):
    received = receive_grids(folder, plan, add_row("episodes", "TOTAL", "a.person@example.org"))
    assert rules_of(received, "refuse") == {"email_address"}


@pytest.mark.parametrize("word", ["NA", "n/a", "NULL", "-", "#N/A"])
def test_words_for_nothing_are_told_as_such_in_every_column(folder, plan, word):
    def change(grids):
        for table in ("episodes", "examinations"):
            for row in grids[table][1:6]:
                row[:] = [*row[:2], *(word if cell is None else cell for cell in row[2:])]

    received = receive_grids(folder, plan, change)
    assert received.accepted
    assert rules_of(received) - PLAUSIBILITY_RULES == {"word_for_nothing", "episode_set_aside"}
    assert received.tables["problems"].query("rule == 'word_for_nothing'")["message"].nunique() == 1


def test_a_code_is_no_word_for_nothing(receive, tables):
    tables["examinations"][0] |= {"horizontal": "none", "fatigues": "not tested"}
    assert rules_of(receive(tables)) == {"read_with_help"}


def test_bare_numbers_are_told_as_such(folder, plan):
    def change(grids):
        for table in ("episodes", "examinations", "treatments", "followups"):
            for row in grids[table][1:]:
                row[0] = int(row[0].removeprefix("EP-")) + 1

    received = receive_grids(folder, plan, change)
    messages = received.tables["problems"].query("column == 'episode_id'")["message"]
    assert messages.nunique() == 1
    assert "bare numbers" in messages.iloc[0]


def test_own_words_are_offered_as_lines_of_a_list_and_not_applied(folder, plan):
    def change(grids):
        side, sex = grids["episodes"][0].index("recorded_side"), grids["episodes"][0].index("sex")
        for number, row in enumerate(grids["episodes"][1:]):
            row[side], row[sex] = "RL"[number % 2], "FM"[number % 2]

    received = receive_grids(folder, plan, change)
    offered = received.tables["problems"].query("rule == 'own_words'").set_index("column")
    assert "R = right? (6 cells), L = left? (6 cells)" in offered.at["recorded_side", "message"]
    lines = (
        offered.at["sex", "how_to_fix"].partition("codes: {episodes: {sex: ")[2].removesuffix("}}")
    )
    assert json.loads(lines) == {"F": "female", "M": "male"}
    assert len(received.tables["episodes"]) == 0
    site_map = SiteMap.model_validate(
        {
            "codes": {
                "episodes": {"sex": json.loads(lines), "recorded_side": {"R": "right", "L": "left"}}
            }
        }
    )
    received = receive_delivery(folder, plan.model_copy(update={"sites": {"S01": site_map}}))
    assert len(received.tables["episodes"]) == 12


def test_one_check_tells_everything(folder, plan):
    """A first file: remarks, a total, a column misspelt, own words;
    what refuses it hides neither its headers nor its rows."""

    def change(grids):
        grids["episodes"][0].append("remarks")
        for number, row in enumerate(grids["episodes"][1:]):
            row.append("came late, see the letter" if number % 3 == 0 else None)
            row[grids["episodes"][0].index("sex")] = "FM"[number % 2]
        add_row("episodes", "TOTAL", 12, 684)(grids)
        grids["treatments"][0] = [
            name.replace("maneuver", "manuever") for name in grids["treatments"][0]
        ]
        grids["treatments"][1][grids["treatments"][0].index("manuever")] = "eply"
        grids["followups"][1][grids["followups"][0].index("dhi_total")] = 37

    received = receive_grids(folder, plan, change)
    assert not received.accepted
    assert rules_of(received, "refuse") == {"free_text", "column_misspelt"}
    assert rules_of(received, "set_aside") == {
        "not_in_list",
        "summary_row",
        "maneuver_unknown",
        "dhi_is_even",
    }
    assert rules_of(received, "warn") == {"own_words", "filled_down"}  # as without the other faults
    assert received.tables["problems"][["value", "episode_id"]].isna().all(axis=None)
    assert all(
        rows.empty
        for name, rows in received.tables.items()
        if name not in ("problems", "deliveries", "row_counts")
    )


def test_a_table_that_is_missing_blames_no_row_of_the_others(folder, plan):
    grids = to_grids(plain_tables())
    del grids["episodes"]
    received = receive_delivery(write_csv(folder, grids), plan)
    assert rules_of(received) == {"table_missing"}


def test_a_misspelt_column_is_one_line_at_its_header_and_what_refuses_comes_first(folder, plan):
    grids = to_grids(plain_tables())
    grids["treatments"][0] = [
        name.replace("maneuver", "manuever") for name in grids["treatments"][0]
    ]
    grids["episodes"][1][grids["episodes"][0].index("sex")] = "x"
    problems = receive_delivery(write_csv(folder, grids), plan).tables["problems"]
    assert problems["rule"].tolist()[0] == "column_misspelt"
    assert not problems["rule"].isin(["column_missing", "column_unknown"]).any()
    assert problems.loc[0, ["table", "row", "column"]].tolist() == ["treatments", 1, "manuever"]
    assert "Is it meant for maneuver (" in problems.at[0, "message"]
    assert list_groups(problems)[0]["rule"].tolist() == ["column_misspelt"]


def test_a_column_that_is_missing_is_told_once(folder, plan):
    grids = to_grids(plain_tables())
    place = grids["episodes"][0].index("episode_id")
    grids["episodes"] = [row[:place] + row[place + 1 :] for row in grids["episodes"]]
    assert rules_of(receive_delivery(write_csv(folder, grids), plan)) == {"column_missing"}
