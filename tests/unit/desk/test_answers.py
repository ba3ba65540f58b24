"""In another language no word of the page's own stays English, on any page and in any state."""

import re
from html.parser import HTMLParser

import pytest
from starlette.requests import Request

from pipeline.coordinator.word_list import OwnWord
from pipeline.desk import job as jobs
from pipeline.desk.answers import LANGUAGES, NAMES, WORDS, Voice
from pipeline.desk.clock import Clock
from pipeline.desk.job import Job
from pipeline.desk.pages import Desk
from schemas.delivery import TABLES
from tests.conftest import ROOT
from tests.desk_client import OWN_SEX, OWN_SIDE, SURNAME
from tests.guide_pictures import render_pages

OTHERS = [language for language in LANGUAGES if LANGUAGES[language] is not WORDS]
READ_OUT = ("aria-label", "title", "placeholder", "alt")
# no sentences but numbers, places, names of columns, words of selectors
DATA = ("data-column", "data-language", "data-table", "data-part", "data-save", "data-words")
DATA += ("data-midline", "data-signs", "data-unsided", "data-one-ear", "data-several")
ALONE = ("meta", "link", "input", "img", "br", "hr")
NAMED = {column for table in TABLES.values() for column in table.describe()}
NAMED |= {*TABLES, "submission", "S99", "001", *NAMES.values()}
NAMED |= {"R", *OWN_SEX.values(), *OWN_SIDE.values()}  # words of a site, of whatever language


class Reader(HTMLParser):
    """The texts of a page by the language that they are said to be in."""

    def __init__(self, page: str):
        super().__init__()
        self.open: list[tuple[str, str]] = [("", "")]
        self.texts: list[tuple[str, str]] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        language = given.get("lang") or self.open[-1][1]
        for name, text in given.items():
            if name in READ_OUT or (name.startswith("data-") and name not in DATA):
                self.texts.append((language, text or ""))
        if tag not in ALONE:
            self.open.append((tag, language))

    def handle_endtag(self, tag):
        while len(self.open) > 1 and self.open.pop()[0] != tag:
            pass

    def handle_data(self, text):
        tag, language = self.open[-1]
        if tag not in ("script", "style"):
            self.texts.append((language, " ".join(text.split())))


def find_foreign(page: str, language: str) -> list[str]:
    """The texts that are said to be in a language and that the file of its words does not hold."""
    gap = r"[\w.\u2013\u202f{}, ]*"
    said = [text for part in LANGUAGES[language].values() for text in part.values()]
    patterns = [re.sub(r"\\{\w+\\}", lambda _: gap, re.escape(text)) for text in said]
    whole = re.compile("|".join(f"(?:{pattern})" for pattern in patterns))
    places = re.compile(r"[\d\u2013\u202f.,:; ()]*")
    foreign = []
    for of, text in Reader(page).texts:
        full = re.sub(r"^\d+\. ", "", text)
        bare = full.strip(" ()")
        known = bare in NAMED or places.fullmatch(bare) or any(map(whole.fullmatch, (bare, full)))
        if of == language and not known:
            foreign.append(text)
    return foreign


def render_states(folder, language: str) -> dict[str, str]:
    """A check in each state but that of a verdict, and questions about words and a column that may
    be names."""
    desk = Desk(ROOT / "config", folder, Clock())
    desk.voice.language = language
    sent = {}
    for stage in (jobs.WAITING, jobs.RUNNING, jobs.STOPPED, jobs.FAILED, jobs.NOTHING):
        for says in ("", "reading episodes"):
            job = Job(folder)
            job.stage, job.says = stage, says
            asked = Request({"type": "http", "path_params": {"job": desk.keep_job(job)}})
            sent[f"{stage} {says}"] = desk.show_job(asked).body.decode()
    job = Job(folder)
    job.words = [
        OwnWord("episodes", "", SURNAME, "column C", 0, False, columns=("cause",)),
        OwnWord("treatments", "maneuver", SURNAME, "2 to 9, 40", 1_234, told=False),
        OwnWord("episodes", "sex", "M", "4", 1_234, True, perhaps="male"),
    ]
    asked = Request({"type": "http", "path_params": {"job": desk.keep_job(job)}})
    return sent | {"words": desk.show_words(asked).body.decode()}


@pytest.mark.parametrize("language", OTHERS)
def test_no_word_of_the_page_stays_english(language, plan, tmp_path):
    pages = render_pages(plan, tmp_path, language)
    del pages["accepted"]  # the workflow's page about a delivery, not ours
    pages |= render_states(tmp_path, language)
    assert len(pages) > 15
    assert {name: find_foreign(page, language) for name, page in pages.items()} == {
        name: [] for name in pages
    }


@pytest.mark.parametrize("language", OTHERS)
def test_a_word_that_stayed_english_would_be_found(language, tmp_path):
    pages = render_states(tmp_path, language)
    for part, name, state in (
        ("running", "title", "running "),
        ("page", "own_machine", "failed "),
        ("page", "closed", "stopped "),
        ("own", "stands_for", "words"),
    ):
        theirs, ours = LANGUAGES[language][part][name], WORDS[part][name]
        assert theirs in pages[state]
        assert find_foreign(pages[state].replace(theirs, ours), language)
    assert find_foreign(pages["running reading episodes"].replace(' lang="en"', ""), language)


@pytest.mark.parametrize("language", OTHERS)
def test_sentences_in_place_of_an_answer_are_in_that_language(language):
    voice = Voice()
    voice.language = language
    for name, english in WORDS["faults"].items():
        said = voice.refuse(name).body.decode()
        assert said != english
        assert said == LANGUAGES[language]["faults"][name]


@pytest.mark.parametrize("language", OTHERS)
def test_no_sentence_is_the_english_one(language):
    same = {
        (part, name)
        for part, names in LANGUAGES[language].items()
        for name, text in names.items()
        if text == WORDS[part][name]
    }
    assert same <= {("verdict", "codes"), ("visit", "test")}  # the same words
