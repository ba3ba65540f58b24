"""What the page answers, through a real connection: the way of a coordinator, and what others
try."""

import csv
import html
import io
import json
import re
import socket
import threading
import time
import tomllib
import zipfile

import pytest
import yaml

from pipeline.desk import answers, pages
from pipeline.desk.clock import Clock
from pipeline.desk.guard import Guard
from pipeline.desk.job import OVER, RUNNING
from pipeline.desk.pages import MOST_JOBS, Desk
from pipeline.desk.serve import make_server
from pipeline.reports.render import TEMPLATES
from schemas.dictionary import list_current_entries
from tests.conftest import ROOT
from tests.desk_client import (
    MAIL,
    MARKUP,
    ORDINARY,
    SURNAME,
    Client,
    list_copies,
    make_books,
)


@pytest.fixture(scope="module")
def books(plan):
    return make_books(plan)


class Time:
    """Seconds that pass when a test says so."""

    def __init__(self):
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def passing():
    return Time()


@pytest.fixture
def clock(passing):
    return Clock(passing)


@pytest.fixture
def desk(tmp_path, clock):
    return Desk(ROOT / "config", tmp_path, clock)


@pytest.fixture
def client(desk):
    """A client that has entered the page."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        guard = Guard(desk.app, listening.getsockname()[1])
        server = make_server(guard)
        thread = threading.Thread(target=server.run, args=([listening],))
        thread.start()
        while not server.started:
            time.sleep(0.02)
        client = Client(guard.first)
        client.enter()
        yield client
        server.should_exit = True
        thread.join()
        desk.stop_all()


def test_a_good_workbook_becomes_a_delivery(client, books, tmp_path):
    path = client.bring({"mine.xlsx": books["good"]})
    assert client.wait(path, "over") == {
        "stage": "over",
        "says": client.news(path)["says"],
        "marked": False,
    }
    _, _, page = client.ask("GET", path)
    assert b"all 23 rows" in page or b"are stored" in page
    status, told, packed = client.ask("GET", f"{path}/delivery")
    assert (status, told["content-disposition"]) == (200, 'attachment; filename="S99_001.zip"')
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        assert archive.read("S99/001/S99_001.xlsx") == books["good"]
    assert list_copies(tmp_path) == []
    assert client.ask("GET", f"{path}/marked")[0] == 404


def test_a_faulty_one_gives_a_marked_copy(client, books):
    path = client.bring({"mine.xlsx": books["slips"]})
    client.wait(path, "over")
    status, told, marked = client.ask("GET", f"{path}/marked")
    assert (status, told["content-disposition"]) == (
        200,
        'attachment; filename="S99_001_marked.xlsx"',
    )
    again = client.bring({"S99_001_marked.xlsx": marked})
    client.wait(again, "over")
    first, second = (
        re.search(r'class="lead"[^>]*>(.*?)<', client.ask("GET", p)[2].decode())[1]
        for p in (path, again)
    )
    assert first == second


def test_an_identifier_is_in_no_answer(client, books, capfd):
    path = client.bring({f"{MAIL}.xlsx": books["identified"]})
    client.wait(path, "over")
    assert b"refused" in client.ask("GET", path)[2]
    assert client.ask("GET", f"{path}/delivery")[0] == 404
    assert MAIL.encode() not in client.heard
    assert MAIL not in "".join(capfd.readouterr())


def test_markup_in_cells_and_names_is_never_markup(client, books):
    path = client.bring({f"{MARKUP}.xlsx": books["marked_up"]})
    client.wait(path, "over")
    client.ask("GET", path)
    assert MARKUP.encode() not in client.heard
    assert MARKUP not in html.unescape(client.heard.decode("utf-8", "replace"))


def answer(page: str, **words: str) -> dict[str, str]:
    """What somebody answers on the page of own words: what is chosen already, and codes by word."""
    fields = dict.fromkeys(re.findall(r'<(?:select|input)[^>]* name="([^"]+)"', page), "")
    for part in page.split("<select")[1:]:
        name = re.search(r'name="([^"]+)"', part)[1]
        chosen = re.search(r'value="([^"]*)" selected', part.partition("</select>")[0])
        fields[name] = chosen[1] if chosen else ""
    for text, code in words.items():
        number = re.search(f'for="code-([0-9]+)">{text}<', page)[1]
        fields[f"code-{number}"] = code
    return fields


def test_own_words_become_a_list_and_the_check_is_done_with_it(client, books, tmp_path, capfd):
    path = client.bring({"a.xlsx": books["own_words"]})
    client.wait(path, "over")
    assert f'href="{path}/words"'.encode() in client.ask("GET", path)[2]
    assert client.ask("GET", f"{path}/list")[0] == 404
    page = client.ask("GET", f"{path}/words")[2].decode()
    fields = answer(page, M="male", L="left")
    assert sorted(fields.values()) == ["", "", "female", "left", "male", "right"]
    status, _, told = client.post(f"{path}/words", **fields)
    assert status == 200
    again = f"/checks/{json.loads(told)['check']}"
    client.wait(again, "over")
    assert answers.WORDS["own"]["checked_with"].encode() in client.ask("GET", again)[2]
    status, told, content = client.ask("GET", f"{again}/list")
    assert (status, told["content-disposition"]) == (200, 'attachment; filename="S99.yaml"')
    assert yaml.safe_load(content) == {
        "codes": {
            "episodes": {"sex": {"weiblich": "female", "M": "male"}},
            "treatments": {"side": {"rechts": "right", "L": "left"}},
        }
    }
    hidden = next(name for name in fields if name.startswith("word-"))
    more = {hidden: SURNAME, hidden.replace("word", "code"): "unknown"}
    left = client.ask("GET", f"{again}/words")[2].decode()
    assert SURNAME not in left
    more = {name.partition("-")[0] + "-0": value for name, value in more.items()}
    third = f"/checks/{json.loads(client.post(f'{again}/words', **more)[2])['check']}"
    client.wait(third, "over")
    content = yaml.safe_load(client.ask("GET", f"{third}/list")[2])
    assert content["codes"]["episodes"]["neck_limitation"] == {SURNAME: "unknown"}
    assert content["codes"]["episodes"]["sex"]["M"] == "male"
    assert list_copies(tmp_path) == []
    assert SURNAME not in "".join(capfd.readouterr())


def test_answers_that_make_no_list_get_a_sentence(client, books):
    path = client.bring({"a.xlsx": books["own_words"]})
    client.wait(path, "over")
    page = client.ask("GET", f"{path}/words")[2].decode()
    hidden = re.search(r'name="word-([0-9]+)"', page)[1]
    for fields, fault in (
        ({}, "no_word"),
        ({"code-0": ""}, "no_word"),
        ({f"code-{hidden}": "no"}, "other_word"),
        ({f"code-{hidden}": "no", f"word-{hidden}": "Meier"}, "other_word"),
        ({"code-0": "Meier"}, "no_choice"),
        ({"code-999": "no"}, "no_choice"),
    ):
        status, _, text = client.post(f"{path}/words", **fields)
        assert (status, text.decode()) == (422, answers.WORDS["faults"][fault])
    assert SURNAME.encode() not in client.heard
    good = client.bring({"a.xlsx": books["good"]})
    client.wait(good, "over")
    assert client.ask("GET", f"{good}/words")[0] == 404
    assert client.post(f"{good}/words", **{"code-0": "no"})[0] == 404


def test_five_tables_are_one_delivery(client, tmp_path):
    pool = ROOT / "synthetic_data" / "pool"
    folder = next(p.parent for p in sorted(pool.glob("S*/001/*.csv")))
    files = {p.name: p.read_bytes() for p in folder.iterdir()}
    path = client.bring(files)
    client.wait(path, "over")
    status, _, packed = client.ask("GET", f"{path}/delivery")
    assert status == 200
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        inside = {name.rpartition("/")[2]: archive.read(name) for name in archive.namelist()}
    assert inside == files


def add(client, book: bytes, typed: object) -> str:
    """Add an episode to a workbook, and tell the path of the check."""
    path = client.bring({"workbook.xlsx": book}, begin=False)
    assert client.ask("POST", f"{path}/rows", json.dumps(typed))[0] == 204
    client.wait(path, "over", "failed")
    return path


def test_an_episode_is_added_to_the_workbook(client, books, tmp_path, capfd):
    path = add(client, books["good"], ORDINARY)
    told = json.loads(client.ask("GET", f"{path}/entered")[2])
    assert (told["kept"], told["parts"], told["cells"]) == (True, [], [])
    status, given, book = client.ask("GET", f"{path}/book")
    assert status == 200
    assert given["content-disposition"] == 'attachment; filename="S99_4_episodes.xlsx"'
    checked = client.bring({"again.xlsx": book})
    client.wait(checked, "over")
    assert b"are stored" in client.ask("GET", checked)[2]
    again = add(client, book, ORDINARY)  # the same pseudonym a second time
    told = json.loads(client.ask("GET", f"{again}/entered")[2])
    assert not told["kept"]
    assert ["episodes", 0, "episode_id"] in told["cells"]
    assert client.ask("GET", f"{again}/book")[0] == 404
    assert list_copies(tmp_path) == []
    assert "EP-0042" not in "".join(capfd.readouterr())


def test_what_cannot_be_added_to_gets_a_sentence(client, books):
    for book, fault in ((b"x", "no_workbook"), (books["later"][:2000], "no_workbook")):
        path = add(client, book, ORDINARY)
        status, _, text = client.ask("GET", f"{path}/entered")
        assert (status, text.decode()) == (422, answers.WORDS["faults"][fault])


@pytest.mark.parametrize("typed", [{}, [], None, {"episode": {"name": "Meier"}}, "x", 3])
def test_what_is_no_episode_is_refused(client, books, typed):
    path = client.bring({"workbook.xlsx": books["good"]}, begin=False)
    status, _, text = client.ask("POST", f"{path}/rows", json.dumps(typed))
    assert status == 400
    assert b"Meier" not in text


def test_the_form_is_served(client):
    status, _, page = client.ask("GET", "/visit")
    assert status == 200
    assert b'data-column="recorded_canal"' in page


def test_files_of_other_folders_cannot_be_written(client, tmp_path):
    job = client.bring({"../../../outside.xlsx": b"x", "..\\up.csv": b"x"}, begin=False)
    assert {path.name for path in list_copies(tmp_path)} == {"outside.xlsx", "up.csv"}
    assert not (tmp_path.parent / "outside.xlsx").exists()
    assert client.ask("POST", f"{job}/stop")[0] == 204
    assert list_copies(tmp_path) == []


def pick(table: bytes, keep: frozenset[str]) -> bytes:
    """The rows of some episodes, with the header."""
    header = csv.DictReader(io.StringIO(table.decode()))
    rows = [row for row in header if row["episode_id"] in keep]
    text = io.StringIO()
    writer = csv.DictWriter(text, header.fieldnames)
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


def test_what_an_earlier_delivery_held_and_this_one_lacks_is_counted_and_told_apart(client):
    pool = ROOT / "synthetic_data" / "pool"
    folder = next(p.parent for p in sorted(pool.glob("S*/001/*.csv")))
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    codes = list(csv.DictReader(io.StringIO(before["episodes.csv"].decode())))
    kept = frozenset(row["episode_id"] for row in codes[: len(codes) // 4])
    now = {n: c if n == "submission.csv" else pick(c, kept) for n, c in before.items()}
    lines = before["submission.csv"].decode().splitlines()
    now["submission.csv"] = "\n".join(
        "delivery,002" if line.startswith("delivery,") else line
        for line in lines
        if not line.startswith("counted")
    ).encode()
    path = client.bring(now, before)
    client.wait(path, "over")
    page = html.unescape(client.ask("GET", path)[2].decode())
    gone = len(codes) - len(kept)
    told = f"This is so in {gone:,} of {len(codes):,} episodes of delivery 001."
    apart = re.findall(r'<section class="apart".*?</section>', page, re.DOTALL)
    assert len(apart) == 1
    assert told in apart[0]
    assert told not in page.replace(apart[0], "")
    assert re.search(rf"<strong>withdrawn</strong>.*?<dd>{gone:,}</dd>", page, re.DOTALL)
    assert page.index('class="lead"') < page.index('class="apart"') < page.index("changes-title")


def test_it_can_be_looked_at_again_and_beside_another_one(client, books):
    first, second = (client.bring({"a.xlsx": books[name]}) for name in ("good", "slips"))
    while client.news(first)["stage"] == "running":
        assert client.ask("GET", first)[0] == 200  # reload in the middle
        time.sleep(0.2)
    client.wait(first, "over")
    client.wait(second, "over")
    assert b"S99/001" in client.ask("GET", first)[2]
    assert client.ask("GET", f"{second}/marked")[0] == 200
    assert client.ask("GET", f"{first}/marked")[0] == 404


def test_a_check_that_was_stopped_says_so(client, books, tmp_path):
    path = client.bring({"a.xlsx": books["good"]})
    assert client.ask("POST", f"{path}/stop")[0] == 204
    assert client.news(path)["stage"] == "stopped"
    assert answers.WORDS["ends"]["stopped_title"].encode() in client.ask("GET", path)[2]
    assert list_copies(tmp_path) == []
    assert client.ask("POST", f"{path}/files?name=b.xlsx&of=delivery", b"x")[0] == 409


def test_only_some_checks_are_kept(client, tmp_path):
    paths = [client.bring({"a.xlsx": b"x"}, begin=False) for _ in range(MOST_JOBS + 1)]
    assert client.ask("GET", paths[0])[0] == 404
    assert client.ask("GET", paths[1])[0] == 200
    assert len(list_copies(tmp_path)) == MOST_JOBS


def test_a_check_that_runs_does_not_give_way_to_episodes_that_are_typed(client, desk):
    """A second window, in which one episode after the other is added."""
    paths = [client.bring({}, begin=False) for _ in range(MOST_JOBS)]
    running, told, _, added, *_ = desk.jobs.values()
    running.stage, told.stage = RUNNING, OVER
    added.stage, added.entered = OVER, {"kept": True}
    for gone in (3, 1, 2):
        client.bring({}, begin=False)
        assert len(desk.jobs) == MOST_JOBS
        assert client.ask("GET", paths[gone])[0] == 404
        assert client.news(paths[0])["stage"] == RUNNING


def test_a_file_that_is_too_large_is_not_kept(client, tmp_path, monkeypatch):
    monkeypatch.setattr(answers, "MOST_BYTES", 100)
    path = client.bring({}, begin=False)
    status, _, text = client.ask("POST", f"{path}/files?name=a.xlsx&of=delivery", b"x" * 101)
    assert (status, text.decode()) == (413, answers.WORDS["faults"]["large"])
    assert list_copies(tmp_path) == []


def test_the_workbook_is_saved_for_a_site(client):
    status, told, content = client.post("/workbook", site=" s03 ")
    assert (status, told["content-disposition"]) == (200, 'attachment; filename="S03.xlsx"')
    assert content.startswith(b"PK")


@pytest.mark.parametrize("site", ["", "3", "S3", "../S03", MARKUP, "S03\r\nX: y"])
def test_what_is_no_site_gets_a_sentence(client, site):
    status, _, text = client.post("/workbook", site=site)
    assert (status, text.decode()) == (422, answers.WORDS["faults"]["site"])


def test_the_list_of_those_who_withdrew(client):
    status, told, content = client.post("/withdrawn", pseudonyms="PT-0042\nPT-0043")
    assert (status, told["content-disposition"]) == (200, 'attachment; filename="withdrawn.csv"')
    assert content == b"patient_id\nPT-0042\nPT-0043\n"
    status, _, text = client.post("/withdrawn", pseudonyms="Anna Meier")
    assert status == 422
    assert b"Anna" not in text
    status, _, text = client.post("/withdrawn", pseudonyms=" ,\n")
    assert (status, text.decode()) == (422, answers.WORDS["faults"]["nobody"])


@pytest.mark.parametrize("body", ["", "[]", "{}", "null", "{", '{"site": 3}', "\xff"])
def test_forms_that_are_none_are_refused(client, body):
    assert client.ask("POST", "/workbook", body.encode("latin-1"))[0] in (400, 422)


@pytest.mark.parametrize(
    "path", ["/checks/none", "/checks/none/news", "/checks/none/marked", "/docs", "/../run.py"]
)
def test_what_is_not_there_is_told_in_a_sentence(client, path):
    status, _, text = client.ask("GET", path)
    assert (status, text.decode()) == (404, answers.WORDS["faults"]["gone"])


def test_a_fault_is_told_without_its_message(client, monkeypatch, capfd):
    def fail(*_):
        raise ValueError(MAIL)

    monkeypatch.setattr(pages, "make_workbook", fail)
    status, _, text = client.post("/workbook", site="S03")
    assert (status, text.decode()) == (500, answers.WORDS["faults"]["fault"])
    shown = "".join(capfd.readouterr())
    assert "ValueError" in shown
    assert MAIL not in shown


def test_strangers_get_nothing(client, books):
    path = client.bring({"a.xlsx": books["good"]})
    client.wait(path, "over")
    for where in ("/", path, f"{path}/news", f"{path}/delivery"):
        assert client.ask("GET", where, Cookie=None)[0] == 403
        assert client.ask("GET", where, Host="evil.example")[0] == 403
        assert client.ask("GET", where, Origin="http://evil.example")[0] == 403
    for where in ("/checks", "/close", "/alive", f"{path}/stop"):
        assert client.ask("POST", where, Origin="http://evil.example")[0] == 403
        assert client.ask("POST", where, Origin=None)[0] == 403


HOUR = 3_600
CALLS = ("/alive", "/close", "/checks/{job}/news")  # of the page, and the end


def test_an_hour_counts_from_whatever_somebody_did(client, desk, clock, passing):
    job = client.bring({"a.xlsx": b"x"}, begin=False).rpartition("/")[2]
    asked = [route for route in desk.app.routes if route.path not in CALLS]
    assert len(asked) > 15
    for route in asked:
        for used in (False, True):
            client.ask("POST", "/alive?used")
            passing.now += HOUR - 60
            client.ask("POST", "/alive")
            assert not clock.is_over()
            if used:
                method = "POST" if "POST" in route.methods else "GET"
                client.ask(method, route.path.format(job=job), "{}")
            passing.now += 120
            client.ask("POST", "/alive")
            assert clock.is_over() != used, route.path


def test_the_calls_of_a_window_keep_it_and_are_no_use_of_it(client, clock, passing):
    job = client.bring({"a.xlsx": b"x"}, begin=False)
    for second in range(0, HOUR + 60, 60):
        assert not clock.is_over() or second > HOUR
        passing.now += 60
        client.ask("POST", "/alive")
        client.news(job)
    assert clock.is_over()


def test_a_window_that_no_longer_calls_ends_it(client, clock, passing):
    for _ in range(20):
        passing.now += 20
        client.ask("GET", "/checks/none/news")
        clock.is_over()
    assert clock.is_over()


def test_the_button_ends_it(client, clock):
    assert not clock.is_over()
    assert client.ask("POST", "/alive")[0] == 204
    assert client.ask("POST", "/close")[0] == 204
    assert clock.is_over()


def test_the_page_speaks_the_language_that_was_chosen(client, books):
    path = client.bring({"a.xlsx": books["slips"]})
    client.wait(path, "over")
    sentence = re.search(r'class="lead"[^>]*>(.*?)<', client.ask("GET", path)[2].decode())[1]
    for language, words in answers.LANGUAGES.items():
        assert client.post("/language", language=language)[0] == 204
        start, told = (client.ask("GET", where)[2].decode() for where in ("/", path))
        assert f'<html lang="{language}">' in start
        assert f"<h1>{html.escape(words['page']['start_title'])}</h1>" in start
        assert html.escape(words["next"]["title"]) in told
        assert sentence in told  # what the check says is the check's
        assert client.post("/workbook", site="3")[2].decode() == words["faults"]["site"]
        assert client.ask("GET", "/visit")[0] == 200
    assert client.post("/language", language="xx")[0] == 400


def test_all_languages_say_the_same_with_the_same_gaps():
    english = {
        (part, name): text
        for part, names in answers.WORDS.items()
        for name, text in names.items()
        if part != "labels" and (part, name) != ("own", "comment")
    }
    assert list(answers.LANGUAGES) == list(answers.NAMES)
    for language, words in list(answers.LANGUAGES.items())[1:]:
        theirs = {(p, n): text for p, names in words.items() for n, text in names.items()}
        assert list(theirs) == list(english), language
        for place, text in theirs.items():
            gaps, others = (sorted(re.findall(r"{\w*}", t)) for t in (text, english[place]))
            assert set(gaps) == set(others), place
            assert text, place


FAULTS = (
    *("site", "gone", "nobody", "large", "fault"),
    *("no_word", "other_word", "column_twice", "no_choice"),
    *("no_workbook", "no_column"),
)


def test_every_word_of_the_page_is_used():
    """A word that no template and no answer asks for would be translated for nothing."""
    words = tomllib.loads((TEMPLATES / "desk.toml").read_text("utf-8"))
    templates = "".join(path.read_text("utf-8") for path in TEMPLATES.glob("desk*.j2"))
    asked = set(re.findall(r"words\.(\w+\.\w+)", templates))
    asked |= {f"faults.{name}" for name in FAULTS} | {"own.comment"}
    labels = words.pop("labels")  # by column, each of which the form asks for
    assert set(labels) <= {entry.column for entry in list_current_entries({})}
    assert {f"{part}.{name}" for part, names in words.items() for name in names} == asked
