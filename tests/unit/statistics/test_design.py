"""Designs: small classes together, references by frequency, and no column that others make up."""

import numpy as np
import pandas as pd
import pytest

from pipeline.statistics.design import OTHER, build_design, say_shared


def build(plan, events=None, **columns) -> tuple[pd.DataFrame, object]:
    """The design of text columns of the same length over five sites; every second row has the
    event unless `events` says which."""
    rows = pd.DataFrame(columns).assign(site=lambda frame: [f"S{k % 5}" for k in frame.index])
    happened = pd.Series(rows.index % 2 == 0 if events is None else events, index=rows.index)
    return rows, build_design(rows, tuple(columns), happened, plan.study.guards)


def test_the_most_frequent_class_is_the_reference_and_the_others_have_columns(plan):
    rows, design = build(plan, sex=["female"] * 60 + ["male"] * 40)
    assert design.references == {"sex": "female"}
    assert design.matrix["sex=male"].tolist() == rows["sex"].eq("male").astype(float).tolist()
    counts = design.counts.loc["sex=male"]
    assert (counts["n_episodes"], counts["n_events"], counts["n_sites"]) == (40, 20, 5)
    assert design.refused == {}


def test_small_classes_are_counted_together_and_refused_by_name(plan):
    _, design = build(plan, cause=["a"] * 60 + ["b"] * 40 + ["c"] * 6 + ["d"] * 6)
    assert list(design.matrix) == ["cause=b", f"cause={OTHER}"]
    assert design.matrix[f"cause={OTHER}"].sum() == 12
    assert {name: refusal.status for name, refusal in design.refused.items()} == {
        "cause=c": "too_few",
        "cause=d": "too_few",
    }


def test_classes_that_are_too_few_even_together_stay_in_the_fit_without_a_name(plan):
    _, design = build(plan, cause=["a"] * 60 + ["b"] * 40 + ["c"] * 3)
    assert list(design.matrix) == ["cause=b"]
    assert list(design.unnamed) == [f"cause={OTHER}"]
    assert design.unnamed[f"cause={OTHER}"].sum() == 3


def test_a_term_of_one_class_is_refused(plan):
    _, design = build(plan, sex=["female"] * 100)
    assert list(design.matrix) == []
    assert design.refused["sex"].status == "not_identified"


def test_a_column_that_another_one_makes_up_has_no_coefficient_and_is_told_with_it(plan):
    told = ["x"] * 60 + ["y"] * 40
    _, design = build(plan, first=told, second=told)
    assert list(design.matrix) == ["first=y"]
    assert design.refused["second=y"].status == "not_identified"
    assert design.shared == {"first=y": ["second=y"]}
    assert "second" in say_shared(design, "first=y")


def test_with_binary_a_class_needs_some_without_the_event(plan):
    rows = pd.DataFrame({"sex": ["female"] * 60 + ["male"] * 40, "site": "S1"})
    always = pd.Series(np.arange(100) >= 30)  # every man has the event
    guards = plan.study.guards
    assert "sex=male" in build_design(rows, ("sex",), always, guards).matrix
    assert "sex=male" in build_design(rows, ("sex",), always, guards, binary=True).refused


def test_a_number_enters_from_the_value_that_counts_as_zero(plan):
    rows = pd.DataFrame({"age": np.arange(100.0), "site": "S1"})
    events = pd.Series(np.arange(100) % 2 == 0)
    design = build_design(rows, ("age",), events, plan.study.guards, numeric={"age": 60.0})
    assert design.matrix["age"].tolist() == (rows["age"] - 60).tolist()
    assert design.counts.loc["age", "n_episodes"] == 100


def test_a_gap_is_a_fault(plan):
    with pytest.raises(ValueError, match="gap"):
        build(plan, sex=["female", None] * 50)
