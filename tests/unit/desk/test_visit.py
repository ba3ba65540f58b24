"""The form has each field of the dictionary once, and the rows are numbered as the dictionary
asks."""

import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.desk.answers import WORDS
from pipeline.desk.visit import (
    MOST_LETTERS,
    MOST_ROWS,
    NUMBERED,
    OTHER_CAUSES,
    NoVisit,
    describe_visit,
    make_rows,
)
from schemas.delivery import TABLES
from schemas.dictionary import list_current_entries
from tests.desk_client import MAIL, ORDINARY

TEST = {"test": "dix_hallpike", "side": "right", "result": "negative"}
EPLEY = {"maneuver": "epley", "side": "right"}


@pytest.fixture(scope="module")
def form(plan):
    names = {code: maneuver.name for code, maneuver in plan.maneuvers.items()}
    return describe_visit(list_current_entries(names), WORDS["labels"], plan.maneuvers)


def test_each_column_is_asked_for_once_or_follows(form):
    asked = {table: [f["column"] for f in [*part["fields"], *part["more"]]]
             for table, part in form["rows"].items()}  # fmt: skip
    asked["episodes"] = [
        field["column"]
        for part in ("history", "more_history", "other_causes", "diagnosis", "ending")
        for field in form[part]
    ]
    for table in TABLES:
        columns = [entry.column for entry in list_current_entries({}) if entry.table == table]
        numbered = set(NUMBERED.get(table, ()))
        assert sorted(asked[table]) == sorted(c for c in columns if c not in numbered)
    assert [field["column"] for field in form["of_visit"]] == ["day", "reason"]


def test_what_must_be_filled_is_never_folded_away(form):
    folded = [*form["more_history"], *(f for part in form["rows"].values() for f in part["more"])]
    assert not any(field["needed"] for field in folded)


def test_one_answer_for_all_signs_leaves_out_what_must_be_measured(form):
    assert "pressure_drop_on_standing" not in OTHER_CAUSES
    assert all("no" in dict(field["codes"]) for field in form["other_causes"])


def test_labels_tell_fields_of_a_part_apart(form):
    parts = [[*p["fields"], *p["more"]] for p in form["rows"].values()]
    parts += [form["history"] + form["more_history"], form["diagnosis"], form["other_causes"]]
    for fields in parts:
        labels = [field["label"] for field in fields]
        assert len(set(labels)) == len(labels)
        assert max(map(len, labels)) < 130


def test_maneuvers_whose_side_follows_are_those_of_the_plan(form, plan):
    assert "epley" in form["one_ear"]
    for code in form["unsided"]:
        assert not plan.maneuvers[code].sided
    assert not set(form["unsided"]) & set(form["one_ear"])


def test_an_ordinary_episode():
    rows = make_rows(ORDINARY)
    assert [(r["day"], r["examination"], r["after_attempt"]) for r in rows["examinations"]] == [
        ("0", "1", "0"),
        ("0", "1", "0"),
        ("0", "2", "1"),
    ]
    assert [r.get("reason") for r in rows["examinations"]] == ["symptoms", None, None]
    (attempt,) = rows["treatments"]
    assert (attempt["attempt"], attempt["day"]) == ("1", "0")
    every = [row for table in rows.values() for row in table]
    assert {row["episode_id"] for row in every} == {"EP-0042"}


def test_a_later_visit_counts_on():
    typed = copy.deepcopy(ORDINARY)
    typed["visits"].append(
        {"day": "7", "reason": "planned", "before": [TEST], "attempts": [EPLEY, EPLEY]}
        | {"after": [TEST, TEST]}
    )
    rows = make_rows(typed)
    assert [r["attempt"] for r in rows["treatments"]] == ["1", "2", "3"]
    later = [row for row in rows["examinations"] if row["day"] == "7"]
    assert [(r["examination"], r["after_attempt"]) for r in later] == [
        ("1", "0"),
        ("2", "3"),
        ("3", "3"),
    ]
    assert [r.get("reason") for r in later] == ["planned", None, None]


def test_two_visits_of_one_day_number_their_examinations_on():
    visit = {"day": "0", "before": [TEST], "attempts": [], "after": [TEST]}
    rows = make_rows({"episode": {"episode_id": "EP-1"}, "visits": [visit, visit], "contacts": []})
    assert [r["examination"] for r in rows["examinations"]] == ["1", "2", "3", "4"]
    assert {r["after_attempt"] for r in rows["examinations"]} == {"0"}


@given(
    st.lists(
        st.fixed_dictionaries(
            {
                "day": st.sampled_from(["0", "3", "7"]),
                "before": st.lists(st.just(TEST) | st.just(TEST | {"side": "left"}), max_size=4),
                "attempts": st.lists(st.just(EPLEY), max_size=3),
                "after": st.lists(st.just(TEST) | st.just(TEST | {"side": "left"}), max_size=4),
            }
        ),
        max_size=4,
    )
)
def test_keys_are_unique_and_order_is_kept(visits):
    rows = make_rows({"episode": {"episode_id": "EP-1"}, "visits": visits, "contacts": []})
    for table in ("examinations", "treatments"):
        keys = [tuple(row.get(name) for name in TABLES[table].key()) for row in rows[table]]
        assert len(set(keys)) == len(keys)
    typed = [test for visit in visits for test in visit["before"] + visit["after"]]
    assert [{n: row[n] for n in TEST} for row in rows["examinations"]] == typed
    assert [int(r["attempt"]) for r in rows["treatments"]] == list(
        range(1, len(rows["treatments"]) + 1)
    )


@pytest.mark.parametrize(
    "change",
    [
        {"episode": {"name": MAIL}},
        {"episode": {"cause": "x" * (MOST_LETTERS + 1)}},
        {"episode": {"cause": 3}},
        {"episode": [MAIL]},
        {"contacts": [{"day": None}]},
        {"contacts": {"day": "3"}},
        {"visits": [{"day": "0"}]},
        {"contacts": [{"day": "3"}] * (MOST_ROWS + 1)},
    ],
)
def test_what_is_no_episode_is_refused_without_a_word_of_it(change):
    with pytest.raises(NoVisit) as fault:
        make_rows(ORDINARY | change)
    assert MAIL not in str(fault.value)
