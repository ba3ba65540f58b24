"""Designs: small classes together, references by frequency, and no column that others make up."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

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


def test_classes_that_are_too_few_even_together_stay_in_the_fit_without_a_name(plan):
    _, design = build(plan, cause=["a"] * 60 + ["b"] * 40 + ["c"] * 3)
    assert list(design.matrix) == ["cause=b"]
    assert list(design.unnamed) == [f"cause={OTHER}"]
    assert design.unnamed[f"cause={OTHER}"].sum() == 3


def test_a_term_of_one_class_is_refused(plan):
    _, design = build(plan, sex=["female"] * 100)
    assert list(design.matrix) == []
    assert design.refused["sex"].status == "not_identified"


def test_a_number_enters_from_the_value_that_counts_as_zero(plan):
    rows = pd.DataFrame({"age": np.arange(100.0), "site": "S1"})
    events = pd.Series(np.arange(100) % 2 == 0)
    design = build_design(rows, ("age",), events, plan.study.guards, numeric={"age": 60.0})
    assert design.matrix["age"].tolist() == (rows["age"] - 60).tolist()
    assert design.counts.loc["age", "n_episodes"] == 100


def spread(**counts: tuple[int, int]) -> tuple[pd.DataFrame, pd.Series]:
    """Rows with a class `group` each of so many episodes and events, over five sites."""
    rows = [
        (name, n < events) for name, (episodes, events) in counts.items() for n in range(episodes)
    ]
    frame = pd.DataFrame(rows, columns=["group", "event"]).assign(
        site=lambda f: [f"S{n % 5:02d}" for n in range(len(f))]
    )
    return frame, frame["event"]


def test_small_classes_are_counted_together_and_no_row_is_lost(plan):
    rows, events = spread(a=(50, 25), b=(30, 20), c=(8, 4), d=(7, 5), e=(4, 1))
    design = build_design(rows, ("group",), events, plan.study.guards)
    assert design.references == {"group": "a"}
    assert list(design.matrix) == ["group=b", f"group={OTHER}"]
    assert design.matrix.sum().to_dict() == {"group=b": 30, f"group={OTHER}": 19}
    assert {name: r.status for name, r in design.refused.items()} == dict.fromkeys(
        ["group=c", "group=d", "group=e"], "too_few"
    )
    counted = {
        "n_episodes": 30,
        "n_events": 20,
        "n_sites": 5,
        "by_site": "S00=6 S01=6 S02=6 S03=6 S04=6",
    }
    assert design.counts.loc["group=b"].to_dict() == counted


def test_a_class_of_events_only_counts_for_times_but_not_for_yes_or_no(plan):
    rows, events = spread(a=(50, 25), b=(30, 30))
    assert list(build_design(rows, ("group",), events, plan.study.guards).matrix) == ["group=b"]
    binary = build_design(rows, ("group",), events, plan.study.guards, binary=True)
    assert binary.matrix.empty
    assert set(binary.refused) == {"group", "group=b"}
    assert binary.unnamed[f"group={OTHER}"].sum() == 30  # not counted with those of a


def test_what_follows_from_other_terms_is_refused(plan):
    rows, events = spread(a=(50, 25), b=(30, 20))
    rows = rows.assign(again=rows["group"].map({"a": "x", "b": "y"}))
    design = build_design(rows, ("group", "again"), events, plan.study.guards)
    assert list(design.matrix) == ["group=b"]
    assert design.refused["again=y"].status == "not_identified"
    assert say_shared(design, "group=b") == "not told apart from again=y"


def test_a_gap_is_a_fault_not_a_class(plan):
    rows, events = spread(a=(50, 25), b=(30, 20))
    rows.loc[3, "group"] = None
    with pytest.raises(ValueError, match="gap"):
        build_design(rows, ("group",), events, plan.study.guards)


TERMS = ("first", "second", "third")


def draw_classes(seed: int, n: int) -> tuple[pd.DataFrame, pd.Series]:
    """Rows of three terms with rare classes, where one class of a term may be another one of the
    next but for nobody or for some."""
    rng = np.random.default_rng(seed)
    rows = pd.DataFrame({"site": rng.choice(["S01", "S02", "S03"], n)})
    before = np.full(n, "a")
    for term in TERMS:
        drawn = rng.choice(list("abcde"), n, p=rng.dirichlet([4, 2, 1, 0.3, 0.3]))
        alike = rng.random() < 0.6
        rows[term] = (
            np.where((before == "b") & (rng.random(n) < rng.choice([1, 0.9])), "b", drawn)
            if alike
            else drawn
        )
        before = rows[term].to_numpy()
    return rows, pd.Series(rng.random(n) < 0.6)


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.sampled_from([30, 60, 200]), st.booleans())
def test_every_column_and_every_reference_holds_its_own_people_only(plan, seed, n, binary):
    rows, events = draw_classes(seed, n)
    design = build_design(rows, TERMS, events, plan.study.guards, binary=binary)
    every = pd.concat([design.matrix, design.unnamed], axis=1)
    named_together = {name for names in design.shared.values() for name in names}
    for term, reference in design.references.items():
        of_term = every[[name for name in every if name.startswith(f"{term}=")]]
        small = rows[term].isin(
            [
                v
                for v in rows[term].unique()
                if f"{term}={v}" in design.refused and f"{term}={v}" not in named_together
            ]
        )
        for name, column in of_term.items():
            value = name.partition("=")[2]
            assert (column.eq(1) == (small if value == OTHER else rows[term].eq(value))).all()
        at_reference = rows[term][of_term.eq(0).all(axis=1)]
        others = {f"{term}={value}" for value in at_reference.unique()} - {f"{term}={reference}"}
        # follows from other terms: nobody calls it by the reference, and what it is told with says
        # so
        for name in others:
            assert name in design.refused
            assert name in named_together or f"{term}={OTHER}" in named_together


@settings(max_examples=25)
@given(st.permutations(range(60)))
def test_order_of_rows_changes_no_column(plan, order):
    rows, events = spread(a=(25, 15), b=(25, 12), c=(10, 3))
    design = build_design(rows, ("group",), events, plan.study.guards)
    again = build_design(rows.iloc[order], ("group",), events.iloc[order], plan.study.guards)
    pd.testing.assert_frame_equal(again.matrix.sort_index(), design.matrix)
    assert (again.references, again.refused) == (design.references, design.refused)
    assert np.array_equal(again.counts, design.counts)
