"""What the pages tell beyond the tables: their text, attributes and tables, the words of figures,
and the paper version."""

import csv
import math
import re
import shutil
import subprocess
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

from tests.attack.released import Release

PEOPLE = (
    r"(?:episodes?|patients?|people|persons?|cases?|first sessions|sessions given|failed first "
    r"sessions|records?)"
)
COUNTED = re.compile(rf"(?<![\d.,–-])(\d[\d,]*)(?: of (\d[\d,]*))? (?:[a-z]+ ){{0,2}}?{PEOPLE}\b")
NOT_A_COUNT = re.compile(
    r"(1 to|fewer than|less than|at least|or more than|up to|below|under|of 1 to|least is|every|"
    r"about) $",
    re.I,
)
SPOKEN = (
    "title",
    "alt",
    "aria-label",
    "aria-description",
    "data-n",
    "data-events",
    "data-value",
    "data-count",
    "summary",
    "value",
)
# what others published, and the plan with its sources
PUBLIC = ("plan", "checklists", "published_comparison")
SMALL = 10


def search_pages(release: Release) -> Iterator[str]:
    """What was found on the pages of a release, each as a sentence."""
    reports = release.folder / "reports"
    for path in sorted(reports.glob("*.html")):
        page = Page(path.read_text("utf-8"))
        for section, text in page.texts:
            if section not in PUBLIC:
                yield from (f"{path.name}: {sentence}" for sentence in find_small_groups(text))
        yield from (f"{path.name}: {sentence}" for sentence in compare_tables(page, release))
    for path, text in _read_words(reports):
        yield from (f"{path}: {sentence}" for sentence in find_small_groups(text))


def find_small_groups(text: str) -> Iterator[str]:
    """Groups of 1 to 10 people that a sentence counts, or leaves of those it counts."""
    text = re.sub(r"\s+", " ", text.replace("\xa0", " "))
    for match in COUNTED.finditer(text):
        if NOT_A_COUNT.search(text[: match.start()]):
            continue
        part, whole = (
            int(number.replace(",", "")) if number else None for number in match.groups()
        )
        if 1 <= part <= SMALL or (whole is not None and 1 <= whole - part <= SMALL):
            yield (
                "a sentence counts a small group: "
                f"“{text[max(0, match.start() - 40) : match.end() + 20].strip()}”"
            )


class Page(HTMLParser):
    """A page as `texts` (each block of text, spoken attribute, comment and script with its section)
    and `tables`.

    A table is the analysis of its section, and its rows as lists of cells, the first row being the
    head.
    """

    BLOCKS = frozenset(
        [
            "p",
            "li",
            "td",
            "th",
            "h1",
            "h2",
            "h3",
            "h4",
            "caption",
            "figcaption",
            "dt",
            "dd",
            "div",
            "section",
            "title",
            "desc",
            "text",
            "tr",
            "summary",
        ]
    )

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[tuple[str, str]] = []
        self.tables: list[tuple[str, list[list[str]]]] = []
        self._section, self._words, self._cell = "", [], None
        self.feed(source)
        self.close()
        self._end_block()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = {name: value or "" for name, value in attrs}
        self.texts += [(self._section, attributes[name]) for name in SPOKEN if attributes.get(name)]
        if tag in self.BLOCKS:
            self._end_block()
        if tag == "section":
            self._section = attributes.get("id", "")
        elif tag == "table":
            self.tables.append((self._section, []))
        elif tag == "tr" and self.tables:
            self.tables[-1][1].append([])
        elif tag in ("td", "th"):
            self._cell = []

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th") and self._cell is not None and self.tables and self.tables[-1][1]:
            self.tables[-1][1][-1].append(" ".join("".join(self._cell).split()))
            self._cell = None
        if tag in self.BLOCKS:
            self._end_block()

    def handle_data(self, data: str) -> None:
        self._words.append(data)
        if self._cell is not None:
            self._cell.append(data)

    def handle_comment(self, data: str) -> None:
        self.texts.append((self._section, data))

    def _end_block(self) -> None:
        text = " ".join("".join(self._words).split())
        if text:
            self.texts.append((self._section, text))
        self._words = []


def compare_tables(page: Page, release: Release) -> Iterator[str]:
    """Counts in a table of the page that no row of its analysis has."""
    for analysis, rows in page.tables:
        head = rows[0] if rows else []
        columns = {
            name: head.index(title)
            for name, title in (("n", "Episodes"), ("events", "Events"))
            if title in head
        }
        known = {tuple(_told(row, name) for name in columns) for row in release.among(analysis)}
        if not known or not columns or analysis in PUBLIC:
            continue
        for cells in rows[1:]:
            if len(cells) == len(head):
                shown = _split_joined([cells[place] for place in columns.values()])
                if any(any(counts) and counts not in known for counts in shown):
                    yield (
                        f"the table of {analysis} shows counts that its file hides, at "
                        f"“{cells[0][:60]}”"
                    )


def _split_joined(cells: list[str]) -> list[tuple[str, ...]]:
    """The counts of each estimate of a line; a line can join two, as `311 / 305`,
    and says once what both share."""
    parts = [
        [part.strip().replace(",", "").replace("–", "") for part in cell.split("/")]
        for cell in cells
    ]
    widest = max(len(part) for part in parts)
    return list(zip(*(part * widest if len(part) == 1 else part for part in parts), strict=False))


def _told(row: object, name: str) -> str:
    count = getattr(row, name)
    return (
        "" if count is None else f"{math.ceil((count.low + count.high) / 2)}"
    )  # what was rounded to a step stands above its middle


def _read_words(reports: Path) -> Iterator[tuple[str, str]]:
    """The words beside figures, in figures, and on paper."""
    for path in sorted(reports.rglob("*.csv")):
        with path.open(newline="", encoding="utf-8") as file:
            yield from ((path.name, cell) for line in csv.reader(file) for cell in line)
    for path in sorted(reports.rglob("*.svg")):
        root = ElementTree.fromstring(path.read_text("utf-8"))
        yield from (
            (path.name, element.text)
            for element in root.iter()
            if element.text and element.text.strip()
        )
    for path in sorted(reports.glob("*.pdf")):
        if shutil.which("pdftotext"):
            done = subprocess.run(
                ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
            )
            # a fingerprint may stand beside a sentence of the next column
            text = re.sub(r"\b[0-9a-f]{20,}\b", "\n\n", done.stdout)
            yield from ((path.name, block) for block in re.split(r"\n\s*\n| {3,}", text))
