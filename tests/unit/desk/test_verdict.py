"""The page says what the check says, all of it and no more, and explains each column by the
dictionary."""

import html
import re

import pytest

from pipeline.coordinator.check import find_folders, judge_folders
from pipeline.desk.answers import WORDS
from pipeline.desk.verdict import LONGEST, describe_columns, describe_verdict, shorten
from pipeline.intake.report import name_ranges
from pipeline.intake.terminal import describe_check
from pipeline.reports.render import render_page
from tests.desk_client import MAIL, MARKUP, make_books


@pytest.fixture(scope="module")
def judge_book(plan, tmp_path_factory):
    """What becomes of a workbook of `make_books`, perhaps after another one."""
    books = make_books(plan)

    def judge(name: str, earlier: str = ""):
        folder = tmp_path_factory.mktemp("books")
        (folder / "mine.xlsx").write_bytes(books[name])
        with find_folders(folder / "mine.xlsx", plan) as folders:
            if not earlier:
                (judged,) = judge_folders(folders, plan)
                return judged
            (folder / "earlier.xlsx").write_bytes(books[earlier])
            with find_folders(folder / "earlier.xlsx", plan) as before:
                *_, judged = judge_folders(before | folders, plan)
                return judged

    return judge


@pytest.fixture(scope="module")
def dictionary(plan):
    return describe_columns({code: maneuver.name for code, maneuver in plan.maneuvers.items()})


def show(verdict: dict) -> str:
    content = {
        "words": WORDS,
        "language": "en",
        "here": "/checks/x",
        "says": "",
        "stage": "over",
        "marked": False,
    }
    content |= {"asked": False, "listed": False}
    return render_page("desk_check.html.j2", content | {"verdict": verdict}, talks=True)


def read_text(page: str) -> str:
    """What a reader sees of a page, without blanks."""
    body = re.sub(r"<(script|style|head)\b.*?</\1>", "", page, flags=re.DOTALL)
    return "".join(html.unescape(re.sub(r"<[^>]*>", "", body)).split())


@pytest.mark.parametrize("name", ["good", "slips", "identified", "marked_up"])
def test_every_sentence_of_the_check_stands_on_the_page(judge_book, dictionary, name):
    judged = judge_book(name)
    page = read_text(show(describe_verdict(judged, dictionary, earlier=False)))
    told = describe_check(judged.received, 10_000).splitlines()
    sentences = [re.sub(r"^\s*(\*|->)?\s*", "", line).rstrip(":") for line in told]
    assert len([sentence for sentence in sentences if sentence]) >= 3
    for sentence in sentences[1:]:  # the first one names site and delivery
        assert "".join(sentence.split()) in page


@pytest.mark.parametrize(
    ("name", "state", "savable"),
    [
        ("good", "fine", True),
        ("slips", "aside", True),
        ("identified", "refused", False),
    ],
)
def test_the_state_is_that_of_the_check(judge_book, dictionary, name, state, savable):
    verdict = describe_verdict(judge_book(name), dictionary, earlier=False)
    assert (verdict["state"], verdict["savable"]) == (state, savable)
    assert ("/checks/x/delivery" in show(verdict)) == savable


def test_no_value_of_a_cell_is_shown(judge_book, dictionary):
    for name in ("identified", "marked_up"):
        page = show(describe_verdict(judge_book(name), dictionary, earlier=False))
        assert MAIL not in page
        assert MARKUP not in html.unescape(page)


def test_a_column_is_explained_by_the_dictionary(judge_book, dictionary):
    verdict = describe_verdict(judge_book("slips"), dictionary, earlier=False)
    columns = [f["column"] for part in verdict["parts"] for f in part["findings"] if f["column"]]
    side = next(column for column in columns if column["name"] == "recorded_side")
    assert {"right", "left"} <= {code for code, _ in side["codes"]}
    assert side["meaning"] in html.unescape(show(verdict))


def test_it_says_what_changed_since_the_earlier_delivery(judge_book, dictionary):
    verdict = describe_verdict(judge_book("later", "good"), dictionary, earlier=True)
    assert verdict["changes"]["previous"] == "001"
    assert sum(kind["episodes"] for kind in verdict["changes"]["kinds"]) >= 1
    assert not verdict["not_compared"]


def test_it_says_if_there_was_nothing_to_compare_with(judge_book, dictionary):
    verdict = describe_verdict(judge_book("later", "identified"), dictionary, earlier=True)
    assert verdict["not_compared"]
    assert verdict["changes"] is None


def test_long_lists_of_rows_end_between_two_of_them():
    rows = name_ranges(list(range(1, 5_000, 2)))
    cut = shorten(rows)
    assert len(cut) < LONGEST + 30
    listed = cut.removesuffix(" and further ones")
    assert rows.startswith(listed + ",")
    assert shorten("2, 5 to 7") == "2, 5 to 7"
