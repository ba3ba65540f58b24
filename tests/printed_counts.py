"""Every count of people, sessions or sites that a page prints,
with the noun that it is printed with, and every number that has none."""

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

import pandas as pd

from pipeline.reports.figures.sheet import MUTED
from pipeline.reports.readings import ROUNDED
from schemas.denominators import BASES

BLOCKS = {"p", "li", "h1", "h2", "h3", "figcaption", "dt", "dd", "td", "th", "caption", "text"}
SKIPPED = {"style", "script", "title", "desc", "defs", "footer"}
N = r"\d[\d,]*(?:\.\d+)?"
# of sessions that count nobody: averages, expectations, and what the plan says
OF_SESSIONS = (
    rf"{N} sessions on average \(median {N}\)|a median of {N} sessions|up to {N} sessions|"
    rf"After session {N}|"
    # expected of an invented hundred, and of nobody
    rf"Had 100 patients of a variant been treated by one order of maneuvers, {N}(?: to {N})? "
    r"sessions with an adverse event"
)
NOT_COUNTS = [  # what numbers are that count nobody, as the report writes them
    OF_SESSIONS,
    rf"age was {N} years|interquartile range {N} to {N}",
    # guards of the plan
    rf"fewer than {N} episodes, or a {N} % confidence interval wider than {N} percentage points",
    rf"1 to {N} episodes",
    rf"a group of 1 to {N} episodes|multiples of {N}|<{N}",  # what may be shown
    rf"{N} (?:to|and) {N} of 100|“of 100”",  # bounds of shares
    # what taking the days of tests as given may do
    rf"{N} percentage points too low by day {N}, {N} by day {N} and {N} by day {N}|nearer to 1\.",
    rf"{N}(?: (?:and|to) {N})? %",  # shares and their ranges
    rf"[+−]?{N} \([+−]?{N}(?: to [+−]?{N}| or more| or later)\)",  # a number with its range
    rf"\((?:(?!episode|session|patient|site|clinic)[^()])*?{N}(?: to {N}| or later| or more)\)",
    rf"ratio {N}, {N} to {N}",
    r"\d{4} \(doi [^)]*\)",
    r"\d{4};\d+(?:\(\d+ Suppl\))?:\w+(?:-\w+)?|others \d{4}|Newman \d{4}",  # citations
    rf"\b[Dd]ays? {N}(?: (?:and|or|to) (?:day )?{N})*(?: or later)?",
    rf"{N} (?:symptom-free )?days?\b|(?:of|in) the first {N}\b|^Mean days with "
    rf"vertigo, of {N}$",
    rf"{N} (?:percentage )?points?|0 to 100",
    rf"{N} (?:fewer|more)\b(?! episode)",  # days with vertigo
    rf"orders of maneuvers, {N} can be compared with the usual one, and (?:none|{N}) differs?",
    rf"further episodes treated so, about {N} to {N}\.",
    rf"Of {N} orders? the second way has a number for (?:none|{N})\.",
    rf"For {N} of them two ways of estimating disagree",
    rf"between {N} and {N} times as fast|one in {N} would|{N} in {N} lay outside",
    rf"\(part {N}\)",  # of a figure that goes on
    rf"{N} lie outside the limits",  # clinics, of those before it
    rf"{N} times as often|{N} times for the confidence",
    rf"is {N}, between {N} and {N}",  # kappa
    r"Right of 0\b",
    r"Records of \d{4}(?: to \d{4})?|release \d+$",
    r"Trial \d+|\d+/\d+|\d+\. (?=[A-Zv])",  # of published trials
    rf"after {N} seconds",
    r"fallen by at least \d+|DHI|\d+–\d+|\d+\+",
]
PEOPLE = {
    "episode": "episode",
    "session": "treatment session",
    "patient": "patient",
    "site": "site",
    "clinic": "site",
}
# nouns of things, not people
OTHERS = "subgroup|reason|part|variant|order|maneuver|comparison|share|other|one|day"
NOUN = rf"(?P<noun>{'|'.join(PEOPLE)}|{OTHERS})s?\b"
COUNT = re.compile(
    rf"(?P<n>{N})(?: of (?:the |these )?(?P<m>{N}))? (?:(?!(?:by|from|in|of|"
    rf"to) )[A-Za-z-]+ ){{0,4}}?{NOUN}"
)


@dataclass
class Page(HTMLParser):
    """The blocks of text of a page: each with the head of its column, where it stands in a table,
    and whether it is drawn in muted ink."""

    blocks: list[tuple[str, str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()
        self.words, self.heads, self.column, self.row, self.skip, self.style = [], [], 0, "", 0, {}
        self.in_head, self.label = False, ""

    def handle_starttag(self, tag: str, attrs: list) -> None:
        given = dict(attrs)
        self.skip += tag in SKIPPED
        if tag == "thead":
            self.heads, self.in_head = [], True
        if tag == "tr":
            self.column, self.row = 0, ""
        if tag in BLOCKS:
            self.words = []
            self.style = {name: given.get(name) or "" for name in ("fill", "font-weight")}

    def handle_data(self, data: str) -> None:
        if not self.skip:
            self.words.append(data)

    def _is_muted(self) -> bool:
        """Whether the text is in muted ink, by its colour or by what the page calls it."""
        return self.style.get("fill") in (MUTED, "var(--muted)")

    def handle_endtag(self, tag: str) -> None:
        self.skip -= tag in SKIPPED
        self.in_head &= tag != "thead"
        if tag not in BLOCKS or self.skip:
            return
        text = strip_marks(re.sub(r"\s+", " ", " ".join(self.words).replace("\u00a0", " ")).strip())
        self.words = []
        head = ""
        if tag in ("td", "th"):
            if self.in_head:
                self.heads.append(text)
            head = self.heads[self.column] if self.column < len(self.heads) else ""
            self.row = self.row or text
            self.column += 1
        if tag == "text" and not (
            self._is_muted()
            or self.style.get("font-weight") in ("bold", "700")
            or re.fullmatch(r"[\d,]+(?: %)?|–|few|\[c\]", text)
        ):
            text = f"{self.label} {text}".strip()  # a label on several lines
            if self.label:
                self.blocks.pop()
            self.label = text
        else:
            self.label = ""
        if text and not (tag == "text" and self._is_muted()):
            self.blocks.append((tag, text, f"{head}|{self.row}" if tag == "td" else ""))


def read_counts(page: str) -> tuple[set[tuple[int, str]], list[str]]:
    """The counts of a page as (number, noun), and the texts with a number that is neither a count
    with a noun nor known to be something else."""
    reader = Page()
    reader.feed(page)
    counts, unexplained = set(), []
    for tag, text, place in reader.blocks:
        block, rest = _read_block(tag, text, place)
        counts |= block
        if rest:
            unexplained.append(text)
    return counts, unexplained


def strip_marks(text: str) -> str:
    """A text without the sign of rounded numbers, and with a word for counts that are only said to
    be few."""
    return re.sub(rf"<{N}", "few", text.replace(ROUNDED, ""))


def find_counts(text: str) -> set[tuple[int, str]]:
    """The counts of running text that stand right before their noun, as (number, noun)."""
    text = re.sub(OF_SESSIONS, "…", strip_marks(text))
    matches = [match for match in COUNT.finditer(text) if match["noun"] in PEOPLE]
    return {
        (_whole(match[name]), PEOPLE[match["noun"]])
        for match in matches
        for name in ("n", "m")
        if match[name]
    }


def _read_block(tag: str, text: str, place: str) -> tuple[set[tuple[int, str]], bool]:
    """The counts of one block of text, and whether numbers are left over."""
    head, _, row = place.partition("|")
    bare = re.match(r"[\d,]+(?: in [\d,]+ episodes| of [\d,]+)?$", text)
    if bare and (tag == "text" or head in ("Episodes", "Sites", "Number")):
        noun = "site" if head == "Sites" else _name_noun(row) if head == "Number" else "episode"
        numbers = [_whole(n) for n in re.findall(r"[\d,]*\d", text)]
        return {(numbers[0], noun), *((n, "episode") for n in numbers[1:])}, False
    if head == "Left out of it" and re.match(r"[\d,]+: ", text):
        return {(_whole(text.partition(":")[0]), _name_noun(row))}, bool(
            re.search(r"\d", text.partition(":")[2])
        )
    if head == "Half by day" and re.fullmatch(rf"{N}(?: \(up to {N}\))?", text):
        return set(), False
    if tag == "text" and " · " in text:  # the parts of a path, in the order of their bars
        parts = [re.fullmatch(r"([\d,]+|few|\[c\]) \D+", part) for part in text.split(" · ")]
        numbers = [part[1] for part in parts if part and part[1][0].isdigit()]
        return {(_whole(n), "episode") for n in numbers}, None in parts
    for pattern in NOT_COUNTS:
        text = re.sub(pattern, "…", text)
    return find_counts(text), bool(re.search(r"\d", COUNT.sub("…", text)))


def _name_noun(row: str) -> str:
    return next(
        noun
        for noun in ("treatment session", "episode", "patient", "site")
        if row.lower().startswith(noun)
    )


def _whole(number: str) -> int:
    return int(number.replace(",", ""))


def list_allowed(estimates: dict[str, pd.DataFrame]) -> set[tuple[int, str]]:
    """The counts that the ledger and the estimates have, each with its noun."""
    allowed: set[tuple[int, str]] = set()
    for analysis, rows in estimates.items():
        usable = rows[rows["status"].eq("ok")]
        episodes = [usable["n_episodes"]]
        if analysis == "denominators":
            nouns = (
                usable["term"]
                .str.removeprefix("without_")
                .map({name: base.noun for name, base in BASES.items()})
            )
            allowed |= {(int(n), noun) for n, noun in zip(usable["estimate"], nouns, strict=True)}
        elif analysis != "attempt_success":  # whose events are sessions
            episodes += [usable["n_events"], usable.loc[usable["method"].eq("count"), "estimate"]]
            episodes.append(
                usable.loc[usable["term"].str.startswith("effective_n_"), "estimate"].round()
            )
        if analysis == "adverse_events":  # of the first session, of which an episode has one
            allowed |= {(int(n), "treatment session") for n in rows["n_episodes"].dropna()}
        allowed |= {(int(n), "episode") for counts in episodes for n in counts.dropna()}
        allowed |= {(int(n), "site") for n in usable["n_sites"].dropna()}
    return allowed
