"""What the page asks about a site's words: in groups, with the dictionary's choices, and without
the words that the check does not repeat."""

import html
import re

import pytest

from pipeline.coordinator.word_list import NotMeant, OwnWord
from pipeline.desk.answers import WORDS
from pipeline.desk.verdict import describe_columns
from pipeline.desk.words import describe_words, read_answers
from pipeline.reports.render import render_page
from tests.desk_client import MARKUP, SURNAME

ASKED = [
    OwnWord("episodes", "", "Alter", "alter", 0, True, perhaps="age_years", columns=("age_years",)),
    OwnWord("episodes", "sex", "weiblich", "2, 3", 2, True, sure="female", perhaps="female"),
    OwnWord("episodes", "sex", "M", "4", 1, True, perhaps="male"),
    OwnWord("treatments", "maneuver", SURNAME, "2 to 9", 8, told=False),
]


@pytest.fixture(scope="module")
def dictionary(plan):
    return describe_columns({code: maneuver.name for code, maneuver in plan.maneuvers.items()})


def show(words: list[OwnWord], dictionary) -> str:
    groups = describe_words(words, dictionary)
    content = {"words": WORDS, "language": "en", "here": "/checks/x", "groups": groups}
    return render_page("desk_words.html.j2", content, talks=True)


def test_each_column_is_one_group_and_each_word_has_the_choices_of_its_column(dictionary):
    groups = describe_words(ASKED, dictionary)
    assert [(g["table"], g["name"], len(g["words"])) for g in groups] == [
        ("episodes", "", 1),
        ("episodes", "sex", 2),
        ("treatments", "maneuver", 1),
    ]
    choices = [dict(word["choices"]) for group in groups for word in group["words"]]
    assert list(choices[0]) == ["age_years"]
    assert {"female", "male", "unknown"} <= set(choices[1])
    assert "epley" in choices[3]


def test_only_what_is_certain_is_chosen(dictionary):
    page = show(ASKED, dictionary)
    assert re.findall(r'value="([^"]*)" selected', page) == ["female"]
    assert page.count(html.escape(WORDS["own"]["perhaps"].format(code="male"))) == 1


def test_a_word_that_may_be_a_name_is_nowhere_on_the_page(dictionary):
    page = show(ASKED, dictionary)
    assert SURNAME not in page
    assert "2\u20139" in page
    assert 'name="word-3"' in page


def test_markup_in_a_word_is_text(dictionary):
    word = OwnWord("episodes", "sex", MARKUP, "2", 3, True, perhaps="male")
    assert MARKUP not in show([word], dictionary)


def test_answers_are_read_by_their_numbers(dictionary):
    form = {"code-0": "age_years", "code-1": "", "code-3": "epley", "word-3": SURNAME}
    assert read_answers(form, ASKED, dictionary) == ({0: "age_years", 3: "epley"}, {3: SURNAME})


@pytest.mark.parametrize(
    "form",
    [
        {"code-1": "epley"},
        {"code-0": "sex"},
        {"code-4": "female"},
        {"code-x": "female"},
        {"code--1": "female"},
        {"site": "S03"},
    ],
)
def test_what_is_no_choice_is_refused(dictionary, form):
    with pytest.raises(NotMeant, match="no_choice"):
        read_answers(form, ASKED, dictionary)
