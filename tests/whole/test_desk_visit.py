"""An episode typed in a real browser by keyboard alone, and how long that takes by a published
model; and a site's own words, answered there."""

import io
import json

import pytest
import yaml
from openpyxl import load_workbook

from tests.desk_client import MARKUP, SURNAME, make_books, start_desk, wait_until_wiped
from tests.whole.test_desk import BROWSER, VERDICT, Window

pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs chromium to lay out the page")

# Keystroke-level model: seconds for a key by an average non-secretary typist, for a key of a
# complex code, and for making up one's mind. Card SK, Moran TP, Newell A. Commun ACM
# 1980;23:396-410, as a course page of the University of Hamburg tabulates them (GOMS).
KEY_S, CODE_KEY_S, MIND_S = 0.28, 0.75, 1.35
LONGEST_S = 240
IN_USE = """(() => {
  const used = document.activeElement, field = used.closest('.field');
  return field ? field.dataset.column : used.id || used.className || used.tagName.toLowerCase();
})()"""
VALUE = "document.activeElement.value"
SAID = "document.querySelector('#append-part .said')"
# by stop of the Tab key what is typed there; the other stops are passed
PATIENT = [
    ("episode_id", "EP-0042", "EP-0042"),
    ("patient_id", "PT-0031", "PT-0031"),
    ("age_years", "57", "57"),
    ("sex", "f", "female"),
    ("index_year", "2025", "2025"),
    ("onset_day", "-3", "-3"),
    ("prior_episodes", "0", "0"),
    ("cause", "i", "idiopathic"),
    ("provoked_by_lying_or_turning", "y", "yes"),
    ("attack_s", "20", "20"),
    ("summary", "", None),
    ("none", " ", None),
    ("summary", "", None),
]
FIRST_TEST = [
    ("day", "", "0"),
    ("reason", "s", "symptoms"),
    ("test", "d", "dix_hallpike"),
    ("side", "r", "right"),
    ("result", "p", "positive"),
    ("vertical", "u", "up"),
    ("torsion", "r", "right"),
    ("horizontal", "n", "none"),
    ("vertigo", "mo", "moderate"),
    ("summary", "", None),
    ("plain add", "", None),
]
MANEUVER = [
    ("recorded_canal", "p", "posterior"),
    ("recorded_side", "r", "right"),
    ("recorded_mechanism", "c", "canalolithiasis"),
    ("recorded_arm", "l", "long"),
    ("maneuver", "e", "epley"),
    ("side", "", "right"),
    ("setting", "c", "clinic"),
    ("performed_by", "c", "clinician"),
    ("completed", "y", "yes"),
    ("adverse", "n", "none"),
    ("summary", "", None),
    ("plain add", "", None),
]
AFTERWARDS = [
    ("test", "", "dix_hallpike"),
    ("side", "", "right"),
    ("result", "n", "negative"),
    ("summary", "", None),
    ("plain add", "", None),
    ("add-visit", "", None),
    ("day", "3", "3"),
    ("contact", "t", "telephone"),
    ("positional_symptoms", "n", "no"),
    ("end_of_followup", "n", "no"),
    ("summary", "", None),
    ("plain add", "", None),
    ("other_diagnosis", "n", "none"),
]


@pytest.fixture
def desk(tmp_path):
    """The program and a window on it: window, folder for copies, terminal."""
    process, first, place, seen = start_desk(tmp_path)
    window = Window(tmp_path, first)
    yield window, place, seen
    window.close()
    process.kill()
    process.wait()


@pytest.fixture
def form(desk):
    """The form, open."""
    window, place, seen = desk
    window.ask("Page.navigate", url=f"{window.origin}/visit")
    window.wait("document.getElementById('append') !== null")
    return window, place, seen


def choose_option(window, column: str, value: str, nth: int = 0) -> None:
    """Choose or type something as a person with a mouse would."""
    window.evaluate(f"""(() => {{
      const control = document.querySelectorAll(
        '[data-column="{column}"] :is(input, select)')[{nth}];
      control.value = {value!r};
      control.dispatchEvent(new Event('input', {{bubbles: true}}));
    }})()""")


def value_of(window, column: str, nth: int = 0) -> str:
    return window.evaluate(
        f"document.querySelectorAll('[data-column=\"{column}\"] :is(input, select)')[{nth}].value"
    )


def append(window) -> None:
    """Press the button, and wait for what is said."""
    window.click("#append")
    window.wait("!document.getElementById('append').disabled")


def test_an_ordinary_episode_takes_less_than_four_minutes_by_keyboard(form, plan, capsys):
    window, place, seen = form
    window.look()
    book = place.parent / "mine.xlsx"
    book.write_bytes(make_books(plan)["good"])
    window.choose("book", book)
    window.evaluate("document.querySelector('[data-column=episode_id] input').focus()")
    keys = code_keys = stops = 0
    for stop, typed, held in [*PATIENT, *FIRST_TEST, *MANEUVER, *AFTERWARDS]:
        assert window.evaluate(IN_USE).startswith(stop) or stop == "summary", stop
        for sign in typed:
            window.press(sign)
        assert held is None or window.evaluate(VALUE) == held, stop
        window.press("Tab")
        code_keys += len(typed) if stop in ("episode_id", "patient_id") else 0
        keys += len(typed) + 1
        stops += 1
    assert window.evaluate(IN_USE) == "append"
    window.look()
    window.press("Enter")
    window.wait(f"!document.getElementById('append').disabled && {SAID}.textContent")
    keys, stops = keys + 1, stops + 1
    assert not window.evaluate(f"{SAID}.classList.contains('fault')")
    seconds = (keys - code_keys) * KEY_S + code_keys * CODE_KEY_S + stops * MIND_S
    with capsys.disabled():
        print(f"\n{keys} keys at {stops} stops: {seconds:.0f} s")
    assert seconds < LONGEST_S
    saved = window.wait_for_file("S99_4_episodes.xlsx")
    rows = [row for row in load_workbook(saved)["examinations"].values if row[0] == "EP-0042"]
    assert len(rows) == 2
    assert rows[1][8] == "negative"
    assert window.evaluate(IN_USE) == "episode_id"  # the next one
    assert value_of(window, "episode_id") == ""
    wait_until_wiped(place)
    assert "EP-0042" not in seen.read_text("utf-8")
    window.look()


def test_the_next_episode_goes_into_the_same_workbook_and_faults_lead_to_their_field(form):
    window, place, _ = form
    append(window)
    assert window.evaluate(f"{SAID}.classList.contains('fault')")  # no workbook yet
    window.evaluate("document.getElementById('site').focus()")
    window.type("S03")
    window.press("Enter")
    window.wait("document.querySelector('#new-book .said').textContent")
    for number in (1, 2):
        for column, value in (
            ("episode_id", f"EP-00{number}"),
            ("patient_id", f"PT-00{number}"),
            ("age_years", "57"),
            ("sex", "female"),
            ("index_year", "2025"),
            ("cause", "idiopathic"),
            ("recorded_canal", "none"),
            ("other_diagnosis", "vestibular_migraine"),
        ):
            choose_option(window, column, value)
        assert value_of(window, "recorded_side") == "unknown"
        assert value_of(window, "recorded_arm") == "not_applicable"
        append(window)
        assert window.evaluate(f"{SAID}.classList.contains('fault')")
        assert window.evaluate(IN_USE) == "other_diagnosis_day"
        assert "other_diagnosis_day" in window.evaluate(
            "document.getElementById('told').textContent"
        )
        window.look()
        choose_option(window, "other_diagnosis_day", "30")
        append(window)
        assert not window.evaluate(f"{SAID}.classList.contains('fault')")
    saved = window.wait_for_file("S03_2_episodes.xlsx")
    sheet = load_workbook(io.BytesIO(saved.read_bytes()))["episodes"]
    assert [row[0] for row in sheet.values] == ["episode_id", "EP-001", "EP-002"]
    wait_until_wiped(place)


def test_what_follows_can_be_changed_and_what_was_seen_is_never_filled_in(form):
    window, _, _ = form
    tests = "#episode [data-part='before'] + .add"
    choose_option(window, "test", "supine_roll", 0)
    choose_option(window, "side", "left", 0)
    choose_option(window, "result", "positive", 0)
    window.click(tests)
    assert [value_of(window, c, 1) for c in ("test", "side")] == ["supine_roll", "right"]
    choose_option(window, "test", "bow", 1)
    assert value_of(window, "side", 1) == "none"
    choose_option(window, "test", "dix_hallpike", 1)
    assert value_of(window, "side", 1) == ""
    choose_option(window, "side", "left", 1)
    assert [value_of(window, c, 2) for c in ("test", "result")] == ["supine_roll", ""]
    for column in ("vertical", "torsion", "horizontal", "vertigo"):
        assert [value_of(window, column, n) for n in range(3)] == ["", "", ""]
    window.evaluate("document.querySelector('.none').click()")
    assert value_of(window, "cannot_stand") == "no"
    choose_option(window, "cannot_stand", "yes")
    assert value_of(window, "cannot_stand") == "yes"
    window.click("#add-visit")
    assert window.evaluate("document.querySelectorAll('.visit').length") == 2
    choose_option(window, "maneuver", "epley")
    for n, event in enumerate(("nausea", "neck_pain", "nausea")):
        choose_option(window, "adverse", event, n)
    window.look()
    typed = json.loads(window.evaluate("JSON.stringify(gather().typed)"))
    assert [len(visit["before"]) for visit in typed["visits"]] == [2, 0]
    assert typed["visits"][0]["attempts"] == [{"maneuver": "epley", "adverse": "nausea; neck_pain"}]
    assert typed["visits"][1] == {"before": [], "attempts": [], "after": []}
    append(window)  # nothing is sent without a workbook
    assert window.evaluate("document.activeElement.id") == "book"
    assert MARKUP not in window.evaluate("document.documentElement.outerHTML")


def test_another_language_is_chosen_on_the_page(desk, plan, tmp_path):
    window, _, _ = desk
    window.click("[data-language='de']")
    window.wait("document.documentElement.lang === 'de'")
    window.look()
    book = tmp_path / "mine.xlsx"
    book.write_bytes(make_books(plan)["own_words"])
    window.check(book)
    window.look()
    window.click("a[href$='/words']")
    window.wait("document.querySelector('form[data-words]') !== null")
    window.look()
    window.ask("Page.navigate", url=f"{window.origin}/visit")
    window.wait("document.getElementById('append') !== null")
    assert window.evaluate("document.documentElement.lang") == "de"
    window.look()


def test_own_words_are_answered_and_saved_as_a_list(desk, plan, tmp_path):
    window, place, seen = desk
    book = tmp_path / "mine.xlsx"
    book.write_bytes(make_books(plan)["own_words"])
    window.check(book)
    window.click("a[href$='/words']")
    window.wait("document.querySelector('form[data-words]') !== null")
    window.look()
    page = window.evaluate("document.documentElement.outerHTML + document.title")
    assert SURNAME not in page
    chosen = "[...document.querySelectorAll('select')].map(s => s.value).filter(Boolean).join()"
    assert window.evaluate(chosen) == "female,right"
    window.click("form[data-words] button")
    window.wait(f"location.pathname.endsWith('/words') === false && {VERDICT}")
    window.look()
    window.click("a[href$='/list']")
    saved = window.wait_for_file("S99.yaml")
    assert yaml.safe_load(saved.read_text("utf-8"))["codes"] == {
        "episodes": {"sex": {"weiblich": "female"}},
        "treatments": {"side": {"rechts": "right"}},
    }
    wait_until_wiped(place)
    assert SURNAME not in seen.read_text("utf-8")
