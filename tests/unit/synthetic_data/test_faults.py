"""Planted faults are where the list says, and nowhere else: in the committed pool, which is the one
that the code makes (test_written_pool.py)."""

import re
from pathlib import Path

import pandas as pd
import pytest

from schemas.delivery import SIDED_TESTS, TABLES
from schemas.rules import CATALOGUE
from synthetic_data.pool import read_plan
from tests.unit.synthetic_data.reading import read_cells, type_cells

COMMITTED = Path(__file__).parents[3] / "synthetic_data"
MANEUVERS = read_plan().maneuvers


@pytest.fixture(scope="module")
def listed() -> pd.DataFrame:
    faults = pd.read_csv(COMMITTED / "truth" / "faults.csv", dtype=str, keep_default_na=False)
    return faults.astype({"row": int})


def is_broken(
    rule: str,
    table: str,
    column: str,
    row: dict[str, str],
    rows: list[dict[str, str]],
    known: set[str],
) -> bool:
    """Whether a row breaks a rule, judged from its texts alone."""
    value = row[column]
    description = TABLES[table].describe().get(column)
    alike = [other for other in rows if other["episode_id"] == row["episode_id"]]
    return {
        "not_in_list": lambda: value not in description.codes,
        "not_filled": lambda: value == "" and description.filled,
        "not_a_whole_number": lambda: not re.fullmatch(r"-?\d+", value),
        "not_a_number": lambda: not re.fullmatch(r"-?\d+(\.\d+)?", value),
        "too_large": lambda: float(value) > description.le,
        "same_key_twice": lambda: len(alike) == 2,
        "episode_not_found": lambda: value not in known,
        "other_diagnosis_needs_day": lambda: (
            row["other_diagnosis"] not in ("none", "unknown") and value == ""
        ),
        "short_arm_needs_basis": lambda: row["recorded_arm"] == "short" and value == "",
        "sided_test_needs_side": lambda: row["test"] in SIDED_TESTS and value == "none",
        "first_attempt_on_day_0": lambda: row["attempt"] == "1" and value != "0",
        "maneuver_unknown": lambda: value not in MANEUVERS,
        "maneuver_side": lambda: MANEUVERS[row["maneuver"]].sided and value == "none",
        "attempts_have_a_gap": lambda: (
            int(value) > [other["attempt"] for other in alike].index(value) + 1
        ),
        "dhi_is_even": lambda: int(value) % 2 == 1,
        "free_text": lambda: value.startswith("Example Person "),
        "telephone_number": lambda: re.fullmatch(r"555-01\d\d", value),
        "calendar_date": lambda: re.fullmatch(r"20\d\d-\d\d-\d\d", value),
        "age_above_89": lambda: int(value) > 89,
    }[rule]()


def test_every_listed_fault_is_in_its_cell(listed):
    for (site, delivery), faults in listed.groupby(["site", "delivery"]):
        cells = read_cells(COMMITTED / "pool" / site / delivery)
        known = {row["episode_id"] for row in cells["episodes"]}
        for fault in faults.itertuples():
            if fault.row == 1:
                assert fault.column in cells[fault.table][0]
                continue
            row = cells[fault.table][fault.row - 2]
            assert row["episode_id"] == fault.episode_id
            assert is_broken(
                fault.rule, fault.table, fault.column, row, cells[fault.table], known
            ), fault.rule


def test_without_the_listed_rows_everything_is_in_order(listed):
    for site, delivery in (("S06", "001"), ("S06", "002"), ("S09", "001")):
        cells = read_cells(COMMITTED / "pool" / site / delivery)
        for table, model in TABLES.items():
            here = listed.query("site == @site and delivery == @delivery and table == @table")
            aside = set(here["row"])
            rows = [row for number, row in enumerate(cells[table], start=2) if number not in aside]
            typed = type_cells(table, rows)
            model.validate(typed, lazy=True)
            assert not typed.duplicated(model.key()).any()
            assert typed["episode_id"].isin([row["episode_id"] for row in cells["episodes"]]).all()


def test_the_faulty_deliveries_are_the_planned_ones(listed):
    counts = listed.groupby(["site", "delivery"]).size()
    assert set(counts.index) == {("S06", "001"), ("S09", "001"), ("S10", "001")}
    assert counts["S09", "001"] == 5
    assert listed.query("site == 'S06'")["rule"].nunique() >= 14


def test_every_rule_named_is_a_rule_of_the_project(listed):
    checks = {check for model in TABLES.values() for check in model.to_schema().checks}
    names = {rule.name for rule in CATALOGUE} | {check.name for check in checks}
    assert set(listed["rule"]) <= names


def test_each_fault_is_alone_in_its_episode(listed):
    named = listed[listed["site"].isin(["S06", "S09"]) & listed["episode_id"].ne("EP-ZZ999")]
    kinds = named.groupby(["site", "episode_id"])["rule"].nunique()
    assert (kinds == 1).all()


def test_the_correction_adds_four_and_withdraws_one():
    truth = pd.read_csv(COMMITTED / "truth" / "episodes.csv", dtype=str).query("site == 'S06'")
    first, second = (
        {row["episode_id"] for row in read_cells(COMMITTED / "pool" / "S06" / number)["episodes"]}
        for number in ("001", "002")
    )
    assert len(second - first) == 4
    assert len(first - second) == 1
    deliveries = truth.set_index("episode_id")["deliveries"]
    assert {code for code in deliveries.index if deliveries[code] == "001"} == first - second
    assert {code for code in deliveries.index if deliveries[code] == "002"} == second - first
