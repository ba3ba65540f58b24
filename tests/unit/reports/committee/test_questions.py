"""The first page: four questions, each answered by the sections behind it in their own words."""

import pytest

from pipeline.reports.committee.report import compose_report
from pipeline.reports.committee.standing import HEADINGS
from pipeline.reports.render import render_page
from tests.pool_of_sections import build_everything
from tests.unit.reports.committee.sections import table
from tests.unit.reports.committee.test_matrix import POPULATION, ROWS
from tests.unit.reports.committee.test_orders import EPLEY, SEMONT


@pytest.fixture(scope="module")
def estimates(plan):
    orders = table("strategies", [*EPLEY, *SEMONT])
    return build_everything(plan) | table("first_choice", ROWS, POPULATION) | orders


@pytest.fixture(scope="module")
def report(estimates, plan):
    return compose_report(estimates, plan, {})


def test_each_question_has_an_answer_and_leads_to_a_section_that_exists(report):
    sections = {section["key"] for section in report["sections"]} | {"apart"}
    assert len(report["questions"]) == 4
    for asked in report["questions"]:
        assert asked["question"].endswith("?")
        assert asked["answers"]
        assert {section["key"] for section in asked["behind"]} <= sections


def test_answers_are_the_words_of_the_sections(report):
    failures = next(s for s in report["sections"] if s["key"] == "failures")
    answers = {asked["key"]: asked["answers"] for asked in report["questions"]}
    assert answers["question-failed"] == [f"{failures['figure']['title']}."]
    assert answers["question-seen"] == report["apart"]["sentences"][:2]


def test_both_answers_on_orders_stand_beside_each_other(report):
    asked = report["questions"][0]
    second = next(s for s in report["sections"] if s["key"] == "second-line")
    assert asked["orders"]["groups"]
    assert any(second["finding"] in note for note in asked["notes"])


def test_questions_come_before_what_the_pool_is(report):
    page = render_page("committee.html.j2", report)
    places = [page.index(asked["question"] + "</h2>") for asked in report["questions"]]
    assert places == sorted(places)
    assert page.index("In short") < places[0]
    assert places[-1] < page.index(HEADINGS["flow"] + "</h2>")
    assert page.count('<table class="matrix">') == 1


def test_a_pool_without_numbers_cannot_tell_yet(plan):
    report = compose_report({}, plan, {})
    assert all(asked["answers"] for asked in report["questions"])
    assert report["questions"][0]["matrix"] is None
    assert report["questions"][0]["orders"] is None
    for asked in (report["questions"][0], report["questions"][3]):
        assert "cannot tell yet" in asked["answers"][0]
    assert "cannot tell yet" in report["questions"][3]["answers"][-1]
