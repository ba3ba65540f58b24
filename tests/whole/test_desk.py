"""The coordinator's page in a real browser: a whole day with it, and what disturbs one."""

import http.server
import json
import threading
import time
import zipfile
from importlib.resources import files
from urllib.parse import quote

import pytest
from openpyxl import load_workbook

from tests.benchmarks.check_speed import write_site
from tests.desk_client import MAIL, MARKUP, make_books, start_desk, wait_until_wiped
from tests.whole.browser_keys import Browser
from tests.whole.test_accessibility import GRAVE
from tests.whole.test_page_in_browser import BROWSER

pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs chromium to lay out the page")

LISTEN = """
window.blocked = [];
document.addEventListener('securitypolicyviolation', event =>
  window.blocked.push(event.effectiveDirective + ' ' + event.blockedURI));
"""
AXE = """axe.run(document, {resultTypes: ['violations']}).then(found => JSON.stringify(
  found.violations.map(v => [v.impact, v.id, v.nodes.map(node => node.html.slice(0, 120))])))"""
WHOLE = "document.documentElement.outerHTML + document.title"
VERDICT = "document.getElementById('verdict') !== null"
NO_WIDER = "document.scrollingElement.scrollWidth <= document.documentElement.clientWidth"
READY = "document.readyState === 'complete'"


class Window(Browser):
    """A window on the page, with a folder for what is saved."""

    def __init__(self, folder, first: str):
        self.saved = folder / "saved"
        super().__init__(BROWSER, folder / "browser")
        self.origin = first.partition("/?")[0]
        self.size(1280)
        self.ask("Page.navigate", url=first)
        self.wait("document.getElementById('check') !== null")

    def open_page(self) -> str:
        """One more page, which is talked to from now on."""
        session = super().open_page()
        self.ask("Page.addScriptToEvaluateOnNewDocument", source=LISTEN)
        self.ask("Page.setDownloadBehavior", behavior="allow", downloadPath=str(self.saved))
        self.ask("DOM.enable")
        return session

    def size(self, width: int, zoom: int = 1) -> None:
        """A window so wide; at a zoom of 2 it has room for half as many CSS pixels."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width // zoom,
            height=900 // zoom,
            deviceScaleFactor=zoom,
            mobile=False,
        )

    def wait(self, expression: str, seconds: float = 240) -> None:
        """Until an expression is true of a page that is loaded."""
        begun = time.monotonic()
        while not self.evaluate(f"{READY} && Boolean({expression})"):
            assert time.monotonic() - begun < seconds, self.evaluate("document.body.innerText")
            time.sleep(0.1)

    def choose(self, name: str, *paths) -> None:
        """Files as somebody chooses them."""
        root = self.ask("DOM.getDocument")["root"]["nodeId"]
        node = self.ask("DOM.querySelector", nodeId=root, selector=f"#{name}")["nodeId"]
        self.ask("DOM.setFileInputFiles", nodeId=node, files=[str(path) for path in paths])

    def click(self, selector: str) -> None:
        self.evaluate(f"document.querySelector({json.dumps(selector)}).click()")

    def type(self, text: str) -> None:
        self.ask("Input.insertText", text=text)

    def check(self, *paths) -> None:
        """Choose files and begin, up to the verdict."""
        self.choose("files", *paths)
        self.click("#check button")
        self.wait(VERDICT)

    def wait_for_file(self, name: str):
        """A file that was saved, once it is whole."""
        begun = time.monotonic()
        while not (self.saved / name).exists():
            assert time.monotonic() - begun < 60, list(self.saved.parent.iterdir())
            time.sleep(0.1)
        return self.saved / name

    def look(self) -> None:
        """At all widths and in both schemes nothing is wrong with the page as it is."""
        for width, zoom in ((1280, 1), (1280, 2), (390, 1)):
            self.size(width, zoom)
            assert self.evaluate(NO_WIDER)
        script = files("axe_core_python").joinpath("axe.min.js").read_text("utf-8")
        self.evaluate(script + "; 0")
        for scheme in ("light", "dark"):
            media = [{"name": "prefers-color-scheme", "value": scheme}]
            self.ask("Emulation.setEmulatedMedia", features=media)
            found = json.loads(self.evaluate(AXE))
            assert [told for told in found if told[0] in GRAVE] == [], scheme
        self.ask("Emulation.setEmulatedMedia", features=[])
        self.size(1280)
        assert self.evaluate("window.blocked.join()") == ""


@pytest.fixture(scope="module")
def books(plan, tmp_path_factory):
    """Workbooks as files, by name."""
    folder = tmp_path_factory.mktemp("books")
    made = {name: folder / f"{name}.xlsx" for name in make_books(plan)}
    for name, content in make_books(plan).items():
        made[name].write_bytes(content)
    return made


@pytest.fixture
def desk(tmp_path):
    """The program and a window on it: process, window, folder for copies, terminal."""
    process, first, place, seen = start_desk(tmp_path)
    window = Window(tmp_path, first)
    yield process, window, place, seen
    window.close()
    process.kill()
    process.wait()


def test_from_the_empty_workbook_to_a_delivery(desk, books):
    process, window, place, _ = desk
    window.look()
    window.evaluate("document.getElementById('site').focus()")
    window.type("S03")
    window.press("Enter")
    empty = load_workbook(window.wait_for_file("S03.xlsx"))
    assert empty["submission"]["B2"].value == "S03"
    window.choose("files", books["good"])
    window.evaluate("document.querySelector('#check button').focus()")
    window.press("Enter")
    window.wait(VERDICT)
    assert window.evaluate("document.activeElement.id") == "verdict"
    assert "Nothing needs to be mended" in window.evaluate("document.body.innerText")
    window.look()
    window.click("a[href$='/delivery']")
    with zipfile.ZipFile(window.wait_for_file("S99_001.zip")) as archive:
        assert archive.read("S99/001/S99_001.xlsx") == books["good"].read_bytes()
    wait_until_wiped(place)
    window.click("#close")
    window.wait("document.body.innerText.includes('Closed')")
    assert process.wait(timeout=60) == 0


def test_what_is_to_mend_is_told_and_marked(desk, books):
    _, window, _, _ = desk
    window.choose("earlier", books["good"])
    window.check(books["slips"])
    window.click("details summary")
    window.look()
    window.wait("!document.getElementById('marked').hidden")
    window.click("#marked a")
    marked = window.wait_for_file("S99_001_marked.xlsx")
    window.click("a[href='/']")
    window.wait("document.getElementById('check') !== null")
    window.check(marked)
    assert "need" in window.evaluate("document.querySelector('.lead').textContent")


def find_holders(folder, text: str) -> list:
    """The files that hold a text or are called by it, also what a browser keeps."""
    codes = [text.encode(), text.encode("utf-16-le"), quote(text, safe="").encode()]
    return [
        path
        for path in sorted(folder.rglob("*"))
        if path.is_file()
        and (text in path.name or any(code in path.read_bytes() for code in codes))
    ]


def test_what_identifies_somebody_is_nowhere(desk, books, tmp_path):
    _, window, place, seen = desk
    called = tmp_path / f"{MAIL}.xlsx"
    called.write_bytes(books["identified"].read_bytes())
    window.check(called)
    window.look()
    assert "could identify a person" in window.evaluate("document.body.innerText")
    assert MAIL not in window.evaluate(WHOLE)
    window.wait("!document.getElementById('marking') || document.getElementById('marking').hidden")
    wait_until_wiped(place)
    window.close()  # whatever it keeps is written by now
    assert MAIL not in seen.read_text("utf-8")
    assert find_holders(tmp_path, MAIL) == [called]
    assert find_holders(tmp_path, window.origin.rpartition("/")[2])  # the search does find


def test_hostile_cells_and_names_do_nothing(desk, books, tmp_path):
    _, window, _, _ = desk
    called = tmp_path / f"{MARKUP}.xlsx"
    called.write_bytes(books["marked_up"].read_bytes())
    window.choose("files", called, called)
    shown = window.evaluate("document.querySelector('.chosen').textContent")
    assert shown == 2 * called.name
    window.choose("files", called)
    window.click("#check button")
    window.wait(VERDICT)
    assert window.evaluate("document.querySelector('img, script[src]')") is None
    assert window.evaluate("window.blocked.join()") == ""


def test_files_can_be_dropped(desk, books):
    _, window, _, _ = desk
    window.evaluate("""
    const data = new DataTransfer();
    data.items.add(new File(['table'], 'letter.pdf'));
    document.querySelector('.drop').dispatchEvent(
      new DragEvent('drop', {bubbles: true, cancelable: true, dataTransfer: data}));
    """)
    assert window.evaluate("document.getElementById('files').files[0].name") == "letter.pdf"
    window.click("#check button")
    window.wait(VERDICT)
    assert "nothing to check" in window.evaluate("document.body.innerText")
    window.look()


def test_a_file_that_cannot_be_read_is_told_where_its_site_is_not_known(desk, tmp_path):
    _, window, _, _ = desk
    broken = tmp_path / "mine.xlsx"
    broken.write_bytes(b"no workbook")
    window.check(broken)
    assert "cannot be read" in window.evaluate("document.querySelector('h1').textContent")
    window.look()


def test_a_reload_in_the_middle_and_a_second_window_change_nothing(desk, books):
    _, window, _, _ = desk
    first = window.session
    window.choose("files", books["good"])
    window.click("#check button")
    window.wait("location.pathname.startsWith('/checks/')")
    address = window.evaluate("location.pathname")
    window.evaluate("window.before = true")
    window.ask("Page.reload")
    window.wait(f"!window.before && (document.getElementById('running') || {VERDICT})")
    second = window.open_page()
    window.ask("Page.navigate", url=window.origin)
    window.wait("document.getElementById('check') !== null")
    window.check(books["slips"])
    assert window.evaluate("location.pathname") != address
    assert "need" in window.evaluate("document.querySelector('.lead').textContent")
    window.session = first
    window.wait(VERDICT)
    assert window.evaluate("location.pathname") == address
    assert "Nothing needs to be mended" in window.evaluate("document.body.innerText")
    window.session = second
    window.click("#close")
    window.wait("document.body.innerText.includes('Closed')")
    window.look()
    window.session = first
    window.wait("document.body.innerText.includes('has ended')", 60)  # it does not go on alone


def test_a_check_can_be_stopped(desk, books):
    _, window, place, _ = desk
    window.choose("files", books["good"])
    window.click("#check button")
    window.wait("document.getElementById('stop') !== null")
    window.look()
    window.click("#stop")
    window.wait(VERDICT)
    assert "stopped" in window.evaluate("document.querySelector('h1').textContent")
    window.look()
    wait_until_wiped(place)


def test_a_program_that_was_killed_is_told(desk, books):
    process, window, place, _ = desk
    window.choose("files", books["good"])
    window.click("#check button")
    window.wait("document.getElementById('stop') !== null")
    process.kill()
    window.wait("document.body.innerText.includes('has ended')", 60)
    window.look()
    wait_until_wiped(place)


def test_the_list_of_those_who_withdrew_is_saved_or_refused(desk):
    _, window, _, _ = desk
    window.evaluate("document.getElementById('pseudonyms').focus()")
    window.type("PT-0042 Meier")
    window.click("form[data-save='/withdrawn'] button")
    said = "document.querySelector(\"form[data-save='/withdrawn'] .said\")"
    window.wait(f"{said}.classList.contains('fault')")
    assert "Meier" not in window.evaluate(f"{said}.textContent")
    window.look()
    window.evaluate("document.getElementById('pseudonyms').value = ''")
    window.evaluate("document.getElementById('pseudonyms').focus()")
    window.type("PT-0042\nPT-0043")
    window.click("form[data-save='/withdrawn'] button")
    saved = window.wait_for_file("withdrawn.csv")
    assert saved.read_bytes() == b"patient_id\nPT-0042\nPT-0043\n"


def test_typing_is_told_with_the_next_call_and_silence_is_not(desk):
    _, window, _, _ = desk
    calls = "performance.getEntriesByType('resource').map(call => call.name.split('/').pop())"
    window.wait(f"{calls}.includes('alive')", 60)
    assert "alive?used" not in window.evaluate(calls)
    window.evaluate("document.getElementById('pseudonyms').focus()")
    window.type("PT")
    window.wait(f"{calls}.includes('alive?used')", 60)
    window.wait(f"{calls}.at(-1) === 'alive'", 60)


def test_a_foreign_page_gets_nothing(desk):
    """It is open in the same browser, which has the cookie, and on the same machine."""
    _, window, _, _ = desk
    page = f"""<!doctype html><title>foreign</title><iframe src="{window.origin}/"></iframe>
    <form method="post" enctype="text/plain" action="{window.origin}/close" target="f"></form>
    <iframe name="f"></iframe><script>
    document.forms[0].submit();
    window.got = [];
    const note = promise => promise.then(a => a.text()).then(t => got.push(t), () => got.push(''));
    const to = '{window.origin}';
    window.all = Promise.all([
      note(fetch(to + '/', {{credentials: 'include'}})),
      note(fetch(to + '/', {{credentials: 'include', mode: 'no-cors'}})),
      note(fetch(to + '/close', {{method: 'POST', credentials: 'include', mode: 'no-cors'}})),
      note(fetch(to + '/close', {{method: 'POST', credentials: 'include'}})),
    ]).then(() => got.join(''));
    </script>"""

    class Foreign(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(page.encode())

        def log_message(self, *_):
            pass

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Foreign) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        window.ask("Page.navigate", url=f"http://127.0.0.1:{server.server_port}/")
        window.wait("window.all")
        assert window.evaluate("window.all") == ""
        server.shutdown()
    time.sleep(2)
    window.ask("Page.navigate", url=window.origin)
    window.wait("document.getElementById('check') !== null")


@pytest.mark.slow
def test_a_large_workbook_leaves_the_page_alive(desk, tmp_path):
    _, window, _, _ = desk
    assert write_site(tmp_path / "large") > 60_000
    (large,) = (tmp_path / "large" / "workbook").rglob("*.xlsx")
    window.choose("files", large)
    window.click("#check button")
    window.wait("document.getElementById('stop') !== null")
    slowest, said = 0.0, set()
    while not window.evaluate(VERDICT):
        begun = time.monotonic()
        said.add(
            window.evaluate(
                "fetch(location.pathname + '/news').then(a => a.json()).then(n => n.says)"
            )
        )
        slowest = max(slowest, time.monotonic() - begun)
    assert slowest < 3
    assert len(said) > 5
    window.look()
