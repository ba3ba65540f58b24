"""What is said of rows that were added is what the check says of them."""

import copy
from multiprocessing import Pipe

import pytest

from pipeline.coordinator.check import find_folders, judge_folders
from pipeline.desk.enter import enter
from pipeline.desk.examine import HANDED
from pipeline.desk.visit import make_rows
from tests.conftest import ROOT
from tests.desk_client import MAIL, ORDINARY, make_books


@pytest.fixture(scope="module")
def books(plan):
    return make_books(plan)


def add(place, files: dict[str, bytes], typed) -> dict:
    """What the process tells, the last of each kind."""
    (place / HANDED).mkdir(parents=True)
    for name, content in files.items():
        (place / HANDED / name).write_bytes(content)
    ours, theirs = Pipe(duplex=False)
    enter(theirs, place, ROOT / "config", make_rows(typed))
    theirs.close()
    told = {}
    while ours.poll():
        try:
            what, content = ours.recv()
        except EOFError:
            break
        told[what] = content
    return told


def change(**columns: str):
    typed = copy.deepcopy(ORDINARY)
    typed["episode"] |= columns
    return typed


def test_good_rows_are_kept_and_the_whole_is_the_checks_own_sentence(books, plan, tmp_path):
    told = add(tmp_path / "a", {"w.xlsx": books["good"]}, ORDINARY)
    assert told["entered"]["kept"]
    assert told["entered"]["cells"] == []
    path = tmp_path / "again.xlsx"
    path.write_bytes(told["book"])
    with find_folders(path, plan) as folders:
        (judged,) = judge_folders(folders, plan)
    assert judged.received.accepted
    assert judged.received.tables["row_counts"]["rows_set_aside"].sum() == 0
    assert judged.received.tables["episodes"]["episode_id"].eq("EP-0042").any()


@pytest.mark.parametrize(
    ("typed", "cell"),
    [
        (change(age_years="570"), ["episodes", 0, "age_years"]),
        (change(recorded_canal="hinterer"), ["episodes", 0, "recorded_canal"]),
        (change(cause=MAIL), ["episodes", 0, "cause"]),
        ({**ORDINARY, "contacts": [{"day": "3", "contact": "telephone"}]},
         ["followups", 0, "positional_symptoms"]),
    ],
)  # fmt: skip
def test_rows_that_would_not_be_pooled_are_not_added(books, tmp_path, typed, cell):
    told = add(tmp_path / "a", {"w.xlsx": books["good"]}, typed)
    assert not told["entered"]["kept"]
    assert cell in told["entered"]["cells"]
    assert "book" not in told
    assert MAIL not in repr(told)


def test_what_only_warns_is_told_and_kept(books, tmp_path):
    told = add(tmp_path / "a", {"w.xlsx": books["good"]}, change(index_year="2031"))["entered"]
    assert told["kept"]
    (part,) = told["parts"]
    assert "index_year" in part["findings"][0]["place"]


def test_faults_of_older_rows_are_not_held_against_the_new_ones(books, tmp_path):
    told = add(tmp_path / "a", {"w.xlsx": books["slips"]}, ORDINARY)
    assert told["entered"]["kept"]
    assert told["entered"]["parts"] == []
    assert "need" in told["entered"]["whole"]


def test_what_is_no_single_workbook_is_told(books, tmp_path):
    two = {"a.xlsx": books["good"], "b.xlsx": books["good"]}
    assert add(tmp_path / "a", two, ORDINARY) == {"entered": {"fault": "no_workbook"}}
    told = add(tmp_path / "b", {"letter.pdf": b"%PDF"}, ORDINARY)
    assert told["entered"] == {"fault": "no_workbook"}
