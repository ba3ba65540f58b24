"""The pictures of the coordinator's guide: parts of the real page, taken in Chromium.

`python -m tests.guide_pictures` takes them anew and writes `docs/guide/*.png`, with
`docs/guide/pictures.json` beside them: sizes, where somebody acts, and a fingerprint of each page
as the program sent it. tests/contract/test_guide_pictures.py makes the same pages without a browser
and compares the fingerprints, so that no picture outlives its page.
"""

import base64
import hashlib
import io
import json
import re
import tempfile
import time
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import SimpleNamespace

from PIL import Image
from starlette.requests import Request

from pipeline.coordinator.guide import PICTURES
from pipeline.desk.clock import Clock
from pipeline.desk.examine import tell
from pipeline.desk.job import OVER, Job
from pipeline.desk.pages import Desk
from pipeline.intake.receive import receive_delivery
from pipeline.intake.report import describe_intake
from pipeline.reports.render import render_page
from schemas.study import Config, read_config
from tests.conftest import ROOT
from tests.desk_client import ORDINARY, make_books, start_desk
from tests.whole.test_desk import Window

WIDTH, HEIGHT = 660, 1000  # of the window, in CSS pixels
FINE = 2  # pixels of a picture for one of them
COLOURS = 24
AROUND, BELOW = 12, 8  # CSS pixels that a picture shows around what it is of
BOOKS = {"slips": "slips", "fine": "good", "own_words": "own_words"}  # checks, and what is brought
VISIBLE = "document.querySelector({}).getBoundingClientRect().height > 0"
STAGE = "fetch(location.pathname + '/news').then(a => a.json()).then(news => news.stage)"
TYPE = """document.querySelector({}).value = {};
  document.querySelector({}).dispatchEvent(new Event('input', {{bubbles: true}}));"""
PLACE = """(place => [place.left, place.top + scrollY, place.right, place.bottom + scrollY])(
  document.querySelector({}).getBoundingClientRect())"""


@dataclass(frozen=True)
class Shot:
    """One picture.

    Attributes
    ----------
    page
        The page that it is of: `start`, `visit`, `accepted`, or a check of BOOKS, or its words.
    first, last
        Selectors of the first and the last element that it shows.
    acts
        Selectors of the elements where somebody acts, in that order.
    types
        What is typed, by selector.
    files
        Whether the workbook is chosen.
    presses
        Selector of what is pressed before the picture is taken.
    until
        What is true then, in the page.
    """

    page: str
    first: str
    last: str
    acts: tuple[str, ...] = ()
    types: tuple[tuple[str, str], ...] = ()
    files: str = ""
    presses: str = ""
    until: str = "true"


def list_typed() -> tuple[tuple[str, str], ...]:
    """An ordinary first visit and its first test, by selector."""
    visit = ORDINARY["visits"][0]
    test = "[data-part=before] .row:first-child"
    of_visit = [(f".visit [data-column={name}]", visit[name]) for name in ("day", "reason")]
    of_test = [
        (f"{test} [data-column={name}]", value) for name, value in visit["before"][0].items()
    ]
    return tuple((f"{place} :is(input, select)", value) for place, value in of_visit + of_test)


WORKBOOK, WITHDRAWN = "form[data-save='/workbook']", "form[data-save='/withdrawn']"
DELIVERY = "a[href$='/delivery']"
SAID = "document.querySelector(\"{} .said\").textContent !== ''"
SHOTS = {
    "start": Shot(
        "start",
        "h1",
        f"{WORKBOOK} .said",
        ("#site", f"{WORKBOOK} button"),
        types=(("#site", "S99"),),
        presses=f"{WORKBOOK} button",
        until=SAID.format(WORKBOOK),
    ),
    "check": Shot(
        "start", "#check-title", "#check > button", ("#files", "#check > button"), files="files"
    ),
    "verdict": Shot(
        "slips",
        ".answer",
        "#marked a",
        (".answer .lead", "#marked a"),
        until=VISIBLE.format("'#marked'"),
    ),
    "mend": Shot(
        "slips",
        "#set_aside-title",
        ".finding-list > li:nth-child(2) .where",
        (".finding-list > li:first-child summary",),
    ),
    "fine": Shot("fine", ".answer", DELIVERY, (".answer .lead", DELIVERY)),
    "accepted": Shot("accepted", "header", ".answer"),
    "withdrawn": Shot(
        "start",
        "#withdrawn-title",
        f"{WITHDRAWN} .said",
        ("#pseudonyms", f"{WITHDRAWN} button"),
        types=(("#pseudonyms", "PT-0042"),),
        presses=f"{WITHDRAWN} button",
        until=SAID.format(WITHDRAWN),
    ),
    "words": Shot(
        "own_words/words", "#group-1", "section:nth-of-type(1)", ("section:nth-of-type(1) select",)
    ),
    "visit": Shot("visit", ".visit h2", ".visit .row", (), types=list_typed()),
}


def fingerprint(page: str, shot: Shot) -> str:
    """What a picture is taken from: its page but for the random name of its check, and itself."""
    steady = re.sub(r"/checks/[\w-]+", "/checks/", page)
    return hashlib.sha256((steady + repr((shot, WIDTH, FINE, COLOURS))).encode()).hexdigest()


def make_accepted(plan: Config, book: bytes) -> str:
    """The page about a delivery after a run of the workflow."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "S99" / "001"
        folder.mkdir(parents=True)
        (folder / "S99_001.xlsx").write_bytes(book)
        return render_page("intake.html.j2", describe_intake(receive_delivery(folder, plan)))


def render_pages(plan: Config, folder: Path, language: str = "en") -> dict[str, str]:
    """The pages that pictures are of, as the program sends them; their checks are made here and not
    in processes of their own."""
    books = make_books(plan)
    desk = Desk(ROOT / "config", folder, Clock())
    desk.voice.language = language
    asked = Request({"type": "http"})
    pages = {"start": desk.show_start(asked), "visit": desk.show_visit(asked)}
    for name, book in BOOKS.items():
        job, told = Job(folder), {}
        job.name_file("S99.xlsx", earlier=False).write_bytes(books[book])
        tell(SimpleNamespace(send=partial(_hear, told)), job.folder, ROOT / "config")
        job.verdict, job.words, job.marked = told["verdict"], told["words"], told["marked"]
        job.stage = OVER
        of_job = Request({"type": "http", "path_params": {"job": desk.keep_job(job)}})
        pages |= {name: desk.show_job(of_job), f"{name}/words": desk.show_words(of_job)}
    sent = {name: answer.body.decode() for name, answer in pages.items()}
    return sent | {"accepted": make_accepted(plan, books["good"])}


def _hear(told: dict, pair: tuple) -> None:
    told.update([pair])


class Camera(Window):
    """A window of the size of the pictures, in the light scheme."""

    def size(self, width: int = WIDTH) -> None:
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=WIDTH,
            height=HEIGHT,
            deviceScaleFactor=FINE,
            mobile=False,
        )
        self.ask("Emulation.setScrollbarsHidden", hidden=True)
        light = [{"name": "prefers-color-scheme", "value": "light"}]
        self.ask("Emulation.setEmulatedMedia", features=light)

    def go(self, address: str) -> None:
        """A page, once it is loaded."""
        self.ask("Page.navigate", url=address)
        self.wait(f"location.href === {json.dumps(address)}")

    def place(self, selector: str) -> list[float]:
        """Left, top, right and bottom of an element."""
        place = self.evaluate(PLACE.format(json.dumps(selector)))
        assert place, selector
        return place

    def take(self, shot: Shot, book: Path) -> tuple[bytes, dict]:
        """The picture of a page that is open, its size, and where somebody acts in it."""
        for selector, text in shot.types:
            quoted = json.dumps(selector)
            self.evaluate(TYPE.format(quoted, json.dumps(text), quoted))
        if shot.files:
            self.choose(shot.files, book)
        if shot.presses:
            self.click(shot.presses)
        self.wait(shot.until)
        self.evaluate("document.activeElement.blur()")
        top, bottom = self.place(shot.first)[1] - AROUND, self.place(shot.last)[3] + BELOW
        left, right = (self.place("main")[n] + sign * AROUND for n, sign in ((0, -1), (2, 1)))
        clip = {"x": left, "y": top, "width": right - left, "height": bottom - top, "scale": 1}
        taken = self.ask(
            "Page.captureScreenshot", format="png", clip=clip, captureBeyondViewport=True
        )
        acts = [
            [round(x1 - left), round(y1 - top), round(x2 - x1), round(y2 - y1)]
            for x1, y1, x2, y2 in map(self.place, shot.acts)
        ]
        size = {"width": round(clip["width"]), "height": round(clip["height"])}
        return shrink(base64.b64decode(taken["data"])), size | {"acts": acts}


def shrink(picture: bytes) -> bytes:
    """The same picture in few colours."""
    few = Image.open(io.BytesIO(picture)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    out = io.BytesIO()
    few.save(out, "png", optimize=True)
    return out.getvalue()


def take_all(plan: Config, folder: Path) -> tuple[dict[str, bytes], dict[str, dict]]:
    """All pictures, and what is told of them."""
    books = make_books(plan)
    accepted = folder / "accepted.html"
    accepted.write_text(make_accepted(plan, books["good"]), "utf-8")
    process, first, *_ = start_desk(folder)
    camera = Camera(folder, first)
    pictures, told = {}, {}
    try:
        addresses = {"start": camera.origin + "/", "visit": f"{camera.origin}/visit"}
        addresses["accepted"] = accepted.as_uri()
        book = folder / "S99.xlsx"
        for name, brought in BOOKS.items():
            book.write_bytes(books[brought])
            camera.go(addresses["start"])
            camera.check(book)
            while camera.evaluate(STAGE) != "over":  # the marked copy comes after the verdict
                time.sleep(0.1)
            addresses[name] = camera.origin + camera.evaluate("location.pathname")
        addresses["own_words/words"] = f"{addresses['own_words']}/words"
        for name, shot in SHOTS.items():
            camera.go(addresses[shot.page])
            page = (
                accepted.read_text("utf-8")
                if shot.page == "accepted"
                else camera.evaluate("fetch(location.href).then(answer => answer.text())")
            )
            pictures[name], told[name] = camera.take(shot, book)
            told[name]["of"] = fingerprint(page, shot)
    finally:
        camera.close()
        process.kill()
        process.wait()
    return pictures, told


def main() -> None:
    """Take all pictures anew."""
    with tempfile.TemporaryDirectory() as temporary:
        pictures, told = take_all(read_config(ROOT / "config"), Path(temporary))
    PICTURES.mkdir(exist_ok=True)
    for old in PICTURES.glob("*.png"):
        old.unlink()
    for name, picture in pictures.items():
        (PICTURES / f"{name}.png").write_bytes(picture)
    lines = ",\n".join(f"  {json.dumps(name)}: {json.dumps(what)}" for name, what in told.items())
    (PICTURES / "pictures.json").write_text(f"{{\n{lines}\n}}\n", "utf-8")


if __name__ == "__main__":
    main()
