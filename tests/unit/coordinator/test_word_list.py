"""What a site's own words may stand for: proposed where it is certain, asked everywhere else, and
not repeated where the check does not repeat them."""

import re

import pandas as pd
import pytest
import yaml

from pipeline.coordinator.check import find_folders, judge_folders
from pipeline.coordinator.word_list import (
    NotMeant,
    OwnWord,
    add_meanings,
    find_certain,
    list_own_words,
)
from pipeline.intake.problem import DESCRIBED
from schemas.delivery import TABLES
from schemas.site_map import SiteMap, read_site_maps, spell_plainly, write_site_map
from schemas.synonyms import CERTAIN, make_vocabulary
from tests.desk_client import SURNAME, make_books

CODED = [(t, c) for t in TABLES for c, described in DESCRIBED[t].items() if described.codes]
OPPOSITES = [
    {"yes", "no"},
    {"right", "left"},
    {"negative", "positive"},
    {"up", "down"},
    {"female", "male"},
    {"geotropic", "apogeotropic"},
    {"long", "short"},
    {"canalolithiasis", "cupulolithiasis"},
]
TURNED = """not positive|no positive|re-positive|non-positive|positive?|positive/negative|neg/pos|-|
+|non positif|nicht positiv|negativ?|negativ/positiv|false positive|not negative|no left|not left|
L/R|R/L|l+r|rl|left/right|left?|links/rechts|rechts>links|links oder rechts|nicht rechts|kein links|
left side up|contralateral|ipsilateral|not right|rechts?|re|li|l|r|d|s|g|i|n|y|j|o|w|m|f|b|up/down|
not up|up?|updown|no down|down?|yes/no|yes?|no?|ja/nein|ja?|nein?|ja nein|nein, ja|not no|not yes|
non non|n/j|na|nö|jein|0|1|2|unsure|uncertain|ageo|apo|geo|non-female|unfemale|not male|weiblich?|
w/m|männlich/weiblich|ad|as|au|dx|sx|pos|neg|none|not known?|unknown?|post|lat|hallpike|roll|
control|trauma|rechtslinks|linksrechts|ja.|-ja|ja!|(links)|"links"|links*|re chts|n o n|s i"""


@pytest.mark.parametrize(("table", "column"), CODED)
def test_what_may_reverse_a_meaning_is_never_certain(table, column):
    vocabulary = make_vocabulary(DESCRIBED[table][column])
    for text in TURNED.replace("\n", "").split("|"):
        for spelled in (text, text.upper(), f" {text} "):
            assert find_certain(spelled, vocabulary) == ""


@pytest.mark.parametrize(("table", "column"), CODED)
def test_a_certain_word_with_anything_beside_it_is_not_certain(table, column):
    vocabulary = make_vocabulary(DESCRIBED[table][column])
    for word in CERTAIN & set(vocabulary.words):
        assert find_certain(word.upper(), vocabulary) == vocabulary.words[word]
        for other in ("not", "no", "nicht", "non", "re", "un", "anti", "?", "/", *CERTAIN):
            for text in (f"{other}{word}", f"{word}{other}", f"{other} {word}", f"{word} {other}"):
                assert find_certain(text, vocabulary) in ("", vocabulary.words.get(text))
                assert text in CERTAIN or find_certain(text, vocabulary) == ""


def test_certain_words_are_declared_with_a_meaning_and_long_enough():
    known = {}
    for table, column in CODED:
        for word, code in make_vocabulary(DESCRIBED[table][column]).words.items():
            known.setdefault(word, set()).add(code)
    for word in CERTAIN:
        codes = known[word]
        assert not any(pair <= codes for pair in OPPOSITES), word
        assert len(word) > 2 or codes <= {"yes", "no"}
        assert not re.search(r"[\d/?+]", word)


def test_no_certain_word_is_a_code_of_its_column_for_another_thing():
    for table, column in CODED:
        described = DESCRIBED[table][column]
        plain = {spell_plainly(code): code for code in described.codes}
        words = make_vocabulary(described).words
        assert all(plain.get(spell_plainly(w), words[w]) == words[w] for w in CERTAIN & set(words))


@pytest.fixture(scope="module")
def judge_book(plan, tmp_path_factory):
    """A workbook as the check judges it, with the sites' lists of the plan or others."""
    folder = tmp_path_factory.mktemp("words")
    books = make_books(plan)

    def judge(name: str, sites=None):
        path = folder / f"{name}.xlsx"
        path.write_bytes(books[name])
        config = plan.model_copy(update={"sites": sites}) if sites else plan
        with find_folders(path, config) as folders:
            (judged,) = judge_folders(folders, config)
            words = list_own_words(judged.handed, judged.received.tables["problems"], config)
        return judged, words

    return judge


@pytest.fixture(scope="module")
def own(judge_book):
    return judge_book("own_words")[1]


def find(words: list[OwnWord], column: str, text: str) -> int:
    return next(n for n, word in enumerate(words) if (word.column, word.text) == (column, text))


def test_each_word_is_asked_about_once_with_what_it_may_mean(own):
    told = {(w.table, w.column, w.text): (w.told, w.sure, w.perhaps) for w in own}
    assert told["episodes", "sex", "weiblich"] == (True, "female", "female")
    assert told["episodes", "sex", "M"][1] == ""
    assert told["treatments", "side", "rechts"] == (True, "right", "right")
    assert told["treatments", "side", "L"][1] == ""
    assert told["episodes", "neck_limitation", SURNAME] == (False, "", "")
    assert len(told) == len(own)


def test_a_word_that_the_check_does_not_repeat_needs_three_cells(own):
    assert not any(word.column == "maneuver" for word in own)  # Epley rechts, once
    assert own[find(own, "neck_limitation", SURNAME)].place == "2 to 4"


def test_what_the_check_shows_is_what_is_told(judge_book, own):
    """The list of problems repeats a cell or does not: neither less nor more is told here."""
    judged, _ = judge_book("own_words")
    problems = judged.received.tables["problems"]
    shown = set(problems["value"].dropna().astype(str))
    assert shown >= {word.text for word in own if word.told and word.cells}
    assert not shown & {word.text for word in own if not word.told}


def test_nothing_is_asked_while_somebody_can_be_identified(judge_book):
    assert judge_book("identified")[1] == []
    assert judge_book("good")[1] == []


def test_the_list_is_read_by_the_workflow_and_mends_the_delivery(judge_book, own, tmp_path):
    meanings = {
        n: word.sure or {"M": "male", "L": "left", SURNAME: "unknown"}[word.text]
        for n, word in enumerate(own)
    }
    typed = {find(own, "neck_limitation", SURNAME): f" {SURNAME.lower()} "}
    site_map = add_meanings(SiteMap(), own, meanings, typed)
    (tmp_path / "S99.yaml").write_text(write_site_map(site_map), "utf-8")
    sites = read_site_maps(tmp_path)
    assert sites == {"S99": site_map}
    judged, left = judge_book("own_words", sites)
    assert left == []
    aside = judged.received.tables["row_counts"].set_index("table")["rows_set_aside"]
    assert aside["episodes"] == 0
    assert aside["treatments"] == 1  # the maneuver by its name and side
    assert list(judged.received.tables["episodes"]["sex"].unique()) == ["female", "male"]
    assert set(judged.received.tables["episodes"]["neck_limitation"]) == {"unknown"}


def test_a_list_grows_and_keeps_what_it_had(own):
    before = SiteMap(tables={"Befunde": "examinations"}, pseudonyms=("BPPV-9999",))
    number = find(own, "sex", "M")
    after = add_meanings(before, own, {number: "male"}, {})
    assert (after.tables, after.pseudonyms) == (before.tables, before.pseudonyms)
    assert after.codes == {"episodes": {"sex": {"M": "male"}}}
    assert yaml.safe_load(write_site_map(after))["codes"] == after.codes


@pytest.mark.parametrize("typed", [None, "", "Meier", "unknown"])
def test_a_hidden_word_enters_the_list_only_as_it_stands_there(own, typed):
    number = find(own, "neck_limitation", SURNAME)
    with pytest.raises(NotMeant, match="other_word") as fault:
        add_meanings(SiteMap(), own, {number: "no"}, {number: typed} if typed is not None else {})
    assert SURNAME not in str(fault.value)


def test_no_answer_makes_no_list(own):
    with pytest.raises(NotMeant, match="no_word"):
        add_meanings(SiteMap(), own, {}, {})


def test_two_names_cannot_be_one_column():
    words = [
        OwnWord("episodes", "", text, text, 0, told=True, columns=("age_years", "sex"))
        for text in ("Alter", "Jahre")
    ]
    with pytest.raises(NotMeant, match="column_twice"):
        add_meanings(SiteMap(), words, {0: "age_years", 1: "age_years"}, {})
    site_map = add_meanings(SiteMap(), words, {0: "age_years"}, {})
    assert site_map.columns == {"episodes": {"Alter": "age_years"}}


def test_own_names_of_columns_are_asked_about_where_one_is_missing(plan, tmp_path):
    pool = tmp_path / "S77" / "001"
    pool.mkdir(parents=True)
    books = {
        "episodes": "episode_id;patient_id;Alter;Lindqvist\nEP-1;PT-1;57;x\n",
        "examinations": "episode_id\n",
        "treatments": "episode_id\n",
        "followups": "episode_id\n",
        "submission": "field;value\nsite_code;S77\ndelivery;001\n",
    }
    for name, text in books.items():
        (pool / f"{name}.csv").write_text(text, "utf-8")
    with find_folders(pool, plan) as folders:
        (judged,) = judge_folders(folders, plan)
    problems = judged.received.tables["problems"]
    words = list_own_words(judged.handed, problems[problems["rule"] != "free_text"], plan)
    by_text = {word.text: word for word in words if not word.column}
    assert by_text["Alter"].perhaps == "age_years"
    assert {"age_years", "sex"} <= set(by_text["Alter"].columns)
    assert (by_text["Lindqvist"].told, by_text["Lindqvist"].place) == (False, "column D")
    assert isinstance(problems, pd.DataFrame)
