"""Every rule is broken by a case that is made for it, in its place, and by nothing else."""

import pytest

from pipeline.intake.receive import receive_delivery
from pipeline.intake.recognised import NO_RECORDS
from schemas.rules import PLAUSIBILITY_RULES, RULES
from tests.unit.intake.conftest import (
    CONTACT,
    EPISODE,
    EXAMINATION,
    SUBMISSION,
    TREATMENT,
    places_of,
    rules_of,
    to_grids,
    write_csv,
)
from tests.unit.intake.test_refusals import FILES, REFUSALS

CELLS = [  # each in an episode of its own: which row of the episode, column, wrong value, rule
    ("episodes", 0, "sex", "femal", "not_in_list"),
    ("episodes", 0, "cause", None, "not_filled"),
    ("episodes", 0, "age_years", "57 y", "not_a_whole_number"),
    ("episodes", 0, "patient_id", "PT_1", "wrong_form"),
    ("episodes", 0, "onset_day", 3, "too_large"),
    ("episodes", 0, "recorded_arm", "short", "short_arm_needs_basis"),
    ("episodes", 0, "other_diagnosis", "central", "other_diagnosis_needs_day"),
    ("episodes", 0, "recorded_canal", "none", "no_canal_has_no_side"),
    ("episodes", 0, "index_year", 2019, "year_outside_submission"),
    ("examinations", 0, "duration_s", "20 s", "not_a_number"),
    ("examinations", 0, "side", "none", "sided_test_needs_side"),
    ("examinations", 0, "test", "bow", "midline_test_has_no_side"),
    ("examinations", 1, "peak_spv", 20, "timing_needs_nystagmus"),
    ("examinations", 0, "spv_at_40s", 50, "velocity_not_above_peak"),
    ("treatments", 1, "cycles", 0, "too_small"),
    ("treatments", 1, "maneuver", "eply", "maneuver_unknown"),
    ("treatments", 1, "side", "none", "maneuver_side"),
    ("treatments", 1, "attempt", 3, "attempts_have_a_gap"),
    ("treatments", 1, "day", -1, "attempts_out_of_order"),
    ("treatments", 0, "day", 2, "first_attempt_on_day_0"),
    ("followups", 0, "dhi_total", 37, "dhi_is_even"),
    ("followups", 0, "episode_id", "EP-999", "episode_not_found"),
    ("followups", 0, "episode_id", "7", "pseudonym_too_short"),
    ("episodes", 0, "patient_id", "QUILL-1952", "pseudonym_unclear"),
    ("treatments", 1, "hold_s", 48213, "number_unclear"),
    ("examinations", 0, "latency_s", "NA", "word_for_nothing"),
]
BLAMED = {  # where the rule blames another column than the one that was changed here
    "short_arm_needs_basis": "arm_basis",
    "other_diagnosis_needs_day": "other_diagnosis_day",
    "midline_test_has_no_side": "side",
    "timing_needs_nystagmus": "duration_s",
}
ROWS_OF = {"episodes": 1, "examinations": 2, "treatments": 2, "followups": 1}
FURTHER = {"same_key_twice", "patient_differs", "episode_set_aside", "too_many_cells"} | {
    "column_absent",
    "column_unknown",
    "table_unknown",
    "read_with_help",
    "total_differs",
}


def episodes_in_order(number: int) -> dict:
    """That many clean episodes, each with two tests, two attempts and a contact."""
    silent = {
        "day": 7,
        "vertical": "none",
        "torsion": "none",
        "duration_s": None,
        "vertigo": "none",
    }
    codes = [{"episode_id": f"EP-{n:03d}"} for n in range(number)]
    return {
        "submission": dict(SUBMISSION),
        "episodes": [
            code | {"patient_id": f"PT-{n:03d}"} | EPISODE for n, code in enumerate(codes)
        ],
        "examinations": [
            code | test
            for code in codes
            for test in (EXAMINATION | {"peak_spv": 32}, EXAMINATION | silent)
        ],
        "treatments": [
            code | TREATMENT | last for code in codes for last in ({}, {"attempt": 2, "day": 7})
        ],
        "followups": [code | CONTACT for code in codes],
    }


@pytest.fixture(scope="module")
def all_at_once(tmp_path_factory, plan):
    """One delivery that breaks every rule that does not refuse it."""
    tables = episodes_in_order(len(CELLS) + 4)
    for number, (table, row, column, value, _) in enumerate(CELLS):
        tables[table][number * ROWS_OF[table] + row][column] = value
    tables["episodes"][-1] |= {"patient_id": tables["episodes"][-2]["patient_id"], "sex": "male"}
    tables["followups"].append(dict(tables["followups"][-3]))
    for row in tables["episodes"]:
        row["remark_code"] = "a"
    tables["submission"]["counted_episodes"] = len(tables["episodes"]) + 1
    grids = to_grids(tables)
    place = grids["episodes"][0].index("osteoporosis")
    grids["episodes"] = [row[:place] + row[place + 1 :] for row in grids["episodes"]]
    grids["treatments"][-8].append("x")
    grids["lists"] = [["list"], ["a"]]
    folder = tmp_path_factory.mktemp("all") / "S01" / "001"
    return receive_delivery(write_csv(folder, grids, separator=";"), plan)


@pytest.mark.parametrize("number", range(len(CELLS)), ids=[rule for *_, rule in CELLS])
def test_a_wrong_cell_breaks_one_rule_in_its_place(all_at_once, number):
    table, row, column, _, rule = CELLS[number]
    place = (table, number * ROWS_OF[table] + row + 2, BLAMED.get(rule, column))
    assert places_of(all_at_once, rule) == [place]
    problems = all_at_once.tables["problems"]
    here = problems[(problems["table"] == place[0]) & (problems["row"] == place[1])]
    assert here["rule"].tolist() == [rule]


def test_all_copies_of_a_key_are_set_aside(all_at_once):
    last = len(CELLS) + 4
    assert places_of(all_at_once, "same_key_twice") == [
        ("followups", row, "episode_id, day, contact") for row in (last - 1, last + 2)
    ]


def test_patients_whose_episodes_differ_in_sex_are_shown(all_at_once):
    last = len(CELLS) + 5
    assert places_of(all_at_once, "patient_differs") == [
        ("episodes", row, "sex") for row in (last - 1, last)
    ]


def test_children_go_with_their_episode(all_at_once):
    gone = set(all_at_once.tables["set_aside"].query("table == 'episodes'")["episode_id"])
    assert len(gone) == sum(
        table == "episodes" and RULES[rule].severity == "set_aside"
        for table, _, _, _, rule in CELLS
    )
    for table in ("examinations", "treatments", "followups"):
        assert not gone & set(all_at_once.tables[table]["episode_id"])
    assert len(places_of(all_at_once, "episode_set_aside")) == len(gone) * 5


def test_tables_columns_and_cells_that_are_not_known_are_shown(all_at_once):
    assert places_of(all_at_once, "table_unknown") == [("lists", None, None)]
    assert places_of(all_at_once, "column_unknown") == [("episodes", 1, "remark_code")]
    assert places_of(all_at_once, "column_absent") == [("episodes", 1, "osteoporosis")]
    assert len(places_of(all_at_once, "too_many_cells")) == 1
    assert "remark_code" not in "".join(all_at_once.tables["set_aside"]["cells"])


def test_a_total_that_the_rows_do_not_show_is_questioned(all_at_once):
    assert places_of(all_at_once, "total_differs") == [("submission", None, "counted_episodes")]


def test_the_closest_code_is_suggested(all_at_once):
    fixes = all_at_once.tables["problems"].drop_duplicates("rule").set_index("rule")["how_to_fix"]
    assert fixes["not_in_list"].endswith("Did you mean female?")
    assert fixes["maneuver_unknown"].endswith("Did you mean epley?")


def test_every_rule_is_broken_by_a_case(all_at_once):
    assert rules_of(all_at_once) - PLAUSIBILITY_RULES == {rule for *_, rule in CELLS} | FURTHER
    elsewhere = PLAUSIBILITY_RULES | {
        "withdrawals_unclear",
        "own_words",
        "reasons_differ",
        "result_fits_the_rest",
        "attack_lengths_agree",
        "standing_is_not_lying_down",
        "minutes_need_an_attempt",
        *NO_RECORDS,
    }  # broken in test_withdrawals.py, test_version.py, test_recognised.py and others
    assert {rule for *_, rule in CELLS} | FURTHER | set(REFUSALS) | set(FILES) | elsewhere == set(
        RULES
    )
