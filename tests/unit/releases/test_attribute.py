"""Which change moved an answer, from what is seen when each combination of them is run again."""

from itertools import product

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.releases.attribute import (
    NOT_AGAIN,
    attribute_answers,
    count_causes,
    drop_runs,
    list_combinations,
    list_touched,
    say_what_moved,
)
from pipeline.releases.compare import CAUSES, compare_estimates, tabulate_comparison
from tests.unit.releases.test_compare import build

TWO = ("deliveries", "plan")
THREE = tuple(CAUSES)


def by_rule(causes, rule):
    """What each combination shows where it is a rule of the changes that are in it."""
    return {changes: rule(changes) for changes in list_combinations(causes)}


def test_all_combinations_are_run_the_two_releases_first():
    assert list_combinations(TWO) == [
        frozenset(),
        frozenset(TWO),
        frozenset({"deliveries"}),
        frozenset({"plan"}),
    ]
    assert len(set(list_combinations(THREE))) == 8


@pytest.mark.parametrize("cause", THREE)
def test_one_cause_is_named_whatever_else_changed(cause):
    assert say_what_moved(by_rule(THREE, lambda changes: cause in changes)) == CAUSES[cause]


def test_changes_that_move_it_only_together_are_named_together():
    both = by_rule(THREE, lambda changes: {"plan", "code"} <= changes)
    assert say_what_moved(both) == "the plan, the program together"
    three = by_rule(THREE, lambda changes: len(changes) == 3)
    assert say_what_moved(three) == "the records, the plan, the program together"


def test_each_of_two_may_be_enough():
    either = by_rule(TWO, lambda changes: bool(changes))
    assert say_what_moved(either) == "the plan alone or the records alone"


def test_what_brings_it_back_is_said():
    """The plan alone undoes what the records do, and the program undoes that."""
    states = by_rule(THREE, lambda c: "deliveries" in c and ("plan" not in c or "code" in c))
    assert say_what_moved(states) == "the records, and back again with some of the others"


def test_a_plan_that_fits_no_other_program_is_not_told_apart_from_it():
    """Only the combinations that hold both or none of them run."""
    moved_by_them = by_rule(
        THREE, lambda c: "code" in c if ("plan" in c) == ("code" in c) else None
    )
    assert say_what_moved(moved_by_them) == "the plan, the program (not told apart)"
    moved_by_records = by_rule(
        THREE, lambda c: "deliveries" in c if ("plan" in c) == ("code" in c) else None
    )
    assert say_what_moved(moved_by_records) == "the records"


@pytest.mark.parametrize(("before", "after"), [(True, True), (False, False), (None, True)])
def test_what_is_not_seen_again_is_moved_by_none_of_them(before, after):
    states = by_rule(TWO, lambda changes: after if changes else before)
    assert say_what_moved(states) == NOT_AGAIN


@given(st.lists(st.booleans(), min_size=6, max_size=6))
def test_whatever_else_is_seen_a_change_that_moves_it_alone_is_named(between):
    states = dict(zip(list_combinations(THREE), [False, True, *between], strict=True))
    said = say_what_moved(states).partition(", and back")[0]
    named = {way.removesuffix(" alone") for way in said.split(" or ")}
    for cause in THREE:
        assert (CAUSES[cause] in named) == states[frozenset({cause})]


EARLIER = build(
    ("all", 0.5, 0.4, 0.6, "ok"),
    ("canal=lateral", 0.5, 0.4, 0.6, "ok"),
    ("canal=posterior", 0.5, 0.4, 0.6, "ok"),
)
LATER = build(
    ("all", 0.7, 0.6, 0.8, "ok"),
    ("canal=lateral", None, None, None, "too_few"),
    ("canal=anterior", 0.2, 0.1, 0.3, "ok"),
    ("canal=posterior", 0.52, 0.4, 0.6, "ok"),
)
WITH_RECORDS = build(
    ("all", 0.59, 0.5, 0.7, "ok"),
    ("canal=lateral", 0.5, 0.4, 0.6, "ok"),
    ("canal=anterior", 0.2, 0.1, 0.3, "ok"),
)
WITH_PLAN = build(("all", 0.65, 0.5, 0.7, "ok"), ("canal=lateral", None, None, None, "too_few"))


@pytest.fixture
def attributed():
    compared = compare_estimates(EARLIER, LATER)
    runs = [EARLIER, LATER, WITH_RECORDS, WITH_PLAN]
    reruns = dict(zip(list_combinations(TWO), runs, strict=True))
    return attribute_answers(compared, reruns)


def test_moved_came_and_gone_are_each_told_by_the_runs(attributed):
    told = attributed.set_index(["what", "stratum"])["moved_by"].to_dict()
    assert told == {
        ("moved", "all"): "the plan",
        ("came", "canal=anterior"): "the records",
        ("gone", "canal=lateral"): "the plan",
    }
    moved = attributed.iloc[0]
    assert moved[["run: as before", "run: the records", "run: the plan"]].tolist() == [
        0.5,
        0.59,
        0.65,
    ]
    assert moved["run: the records, the plan"] == 0.7


def test_the_rows_are_those_of_the_comparison(attributed):
    table = tabulate_comparison(compare_estimates(EARLIER, LATER))
    shown = drop_runs(attributed)
    assert list(shown) == ["what", "moved_by", *list(table)[1:]]
    pd.testing.assert_frame_equal(shown.drop(columns="moved_by"), table)
    assert drop_runs(table) is not table
    assert count_causes(attributed)["answers"].sum() == len(table)


def test_a_combination_that_did_not_run_is_no_answer():
    compared = compare_estimates(EARLIER, LATER)
    reruns = dict(zip(list_combinations(TWO), [EARLIER, LATER, WITH_RECORDS, None], strict=True))
    told = attribute_answers(compared, reruns).set_index("stratum")["moved_by"]
    assert told["all"] == "the records, the plan (not told apart)"
    assert told["canal=anterior"] == "the records"


def test_only_analyses_of_which_an_answer_changed_are_asked():
    assert list_touched(compare_estimates(EARLIER, LATER)) == {"resolution_curves"}
    assert list_touched(compare_estimates(EARLIER, EARLIER)) == set()
    assert len(attribute_answers(compare_estimates(EARLIER, EARLIER), {})) == 0


def test_every_pattern_of_two_changes_has_its_own_words():
    said = {
        say_what_moved(dict(zip(list_combinations(TWO), (False, True, *between), strict=True)))
        for between in product([True, False], repeat=2)
    }
    assert len(said) == 4
