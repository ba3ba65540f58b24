"""Slips of a whole delivery: each is planted in an invented delivery and must be told with its
numbers; clean deliveries are not doubted."""

import re

import pandas as pd
import pytest

from pipeline.intake.plausible import find_implausible
from pipeline.intake.problem import PSEUDONYMS, Problem, list_problems
from schemas.delivery import TABLES
from schemas.rules import PLAUSIBILITY, PLAUSIBILITY_RULES
from tests.unit.intake.slips import SLIPS, draw_clean

SEED = 10  # of a clinic that records velocities
TIMES = (("examinations", "latency_s"), ("examinations", "duration_s"))
PREVIOUS = ("earlier_left_out", "earlier_changed")


def find_rules(tables, *previous) -> set[tuple]:
    return {
        (problem.rule, problem.table, problem.column)
        for problem in find_implausible(tables, *previous)
    }


def keep_episodes(tables, codes) -> dict[str, pd.DataFrame]:
    return {name: rows[rows["episode_id"].isin(codes)] for name, rows in tables.items()}


def as_stored(tables) -> dict[str, pd.DataFrame]:
    return tables | {"set_aside": pd.DataFrame({"table": [], "episode_id": []}, dtype="string")}


@pytest.mark.parametrize("name", SLIPS)
def test_a_planted_slip_is_told(name):
    slip, *expected = SLIPS[name]
    assert tuple(expected) not in find_rules(draw_clean(SEED))
    assert tuple(expected) in find_rules(slip(draw_clean(SEED)))


def test_every_rule_has_a_planted_slip():
    assert {rule for _, rule, *_ in SLIPS.values()} | set(PREVIOUS) == PLAUSIBILITY_RULES


@pytest.mark.parametrize("seed", range(20))
def test_a_clean_delivery_is_not_doubted(seed):
    assert not find_implausible(draw_clean(seed))


@pytest.mark.parametrize("table", TABLES)
def test_a_column_that_is_not_there_raises_no_doubt_and_hides_none(table):
    clean = draw_clean(SEED)
    slip, *expected = SLIPS["latency and duration exchanged"]
    for column in clean[table].columns.difference(PSEUDONYMS):
        without = clean | {
            table: clean[table].assign(**{column: pd.NA}).astype(clean[table].dtypes)
        }
        told = {problem.rule for problem in find_implausible(without)}
        assert told == ({"order_untold"} if column == "after_attempt" else set()), column
        if (table, column) not in TIMES:
            assert tuple(expected) in find_rules(slip(without)), column


def test_a_table_sorted_as_a_whole_is_not_doubted():
    clean = draw_clean(SEED)
    by_age = clean | {
        "episodes": clean["episodes"].sort_values("age_years", kind="stable", ignore_index=True)
    }
    by_day = by_age | {
        "examinations": clean["examinations"].sort_values("day", kind="stable", ignore_index=True)
    }
    assert not find_implausible(by_day)


def test_the_same_delivery_again_is_not_doubted():
    clean = draw_clean(SEED)
    assert not find_rules(clean, as_stored(clean), "001")


def test_a_delivery_of_new_episodes_only_is_told_what_is_missing():
    clean = draw_clean(SEED)
    codes = clean["episodes"]["episode_id"]
    before = as_stored(keep_episodes(clean, codes[:40]))
    problems = find_implausible(keep_episodes(clean, codes[30:]), before, "001")
    left_out = [p for p in problems if (p.rule, p.table) == ("earlier_left_out", "episodes")]
    assert [p.also for p in left_out] == ["This is so in 30 of 40 episodes of delivery 001."]


def test_one_patient_who_left_is_not_doubted():
    clean = draw_clean(SEED)
    assert not find_rules(
        keep_episodes(clean, clean["episodes"]["episode_id"][1:]), as_stored(clean), "001"
    )


def test_rows_left_out_of_episodes_that_stay_are_told():
    clean = draw_clean(SEED)
    first = clean | {"examinations": clean["examinations"].drop_duplicates("episode_id")}
    assert ("earlier_left_out", "examinations", None) in find_rules(first, as_stored(clean), "001")


def test_a_column_that_changed_in_many_episodes_is_told():
    clean = draw_clean(SEED)
    shifted = clean | {
        "episodes": clean["episodes"].assign(
            age_years=clean["episodes"]["age_years"].shift(1).bfill()
        )
    }
    assert ("earlier_changed", "episodes", "age_years") in find_rules(
        shifted, as_stored(clean), "001"
    )


def test_the_evidence_is_in_numbers_and_quotes_no_row():
    for slip, rule, *_ in SLIPS.values():
        for problem in find_implausible(slip(draw_clean(SEED))):
            assert problem.severity == "warn"
            assert re.fullmatch(
                r"This is so in [\d,]+ of [\d,]+ [a-z -]+\.|This is so in all four tables\."
                r"|All [\d,]+ filled cells stand in order, and the rows do not\.|",
                problem.also,
            )
            assert problem.also or rule == "table_without_rows"


def test_the_sentences_are_whole():
    problems = [Problem(rule.name, "examinations", None, "duration_s") for rule in PLAUSIBILITY]
    listed = list_problems(problems, {}, {})
    assert not listed["message"].str.contains("[{}]").any()
    assert listed["value"].isna().all()


def test_what_only_follows_from_a_slip_is_not_told_as_well():
    slip, *_ = SLIPS["ages sorted alone"]
    assert find_rules(slip(draw_clean(SEED))) == {("sorted_alone", "episodes", "age_years")}
