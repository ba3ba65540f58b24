"""Links of the documents lead somewhere: files exist, and so do the headings that are named;
indexes list all; the top of the house is kept tidy."""

import re
import subprocess
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

from tests.contract.test_documents import PAGES, read
from tests.contract.test_floors import ROOT

DECISIONS = [
    path for path in PAGES if path.startswith("docs/decisions/") and not path.endswith("README.md")
]
READERS = (
    "docs/coordinator.md",
    "docs/analyst.md",
    "docs/committee.md",
    "docs/data-protection.md",
    "docs/glossary.md",
    "docs/limits.md",
)
TOP = {
    *("README.md", "DEVELOPERS.md", "CONTRIBUTING.md", "CHANGELOG.md", "CITATION.cff", "LICENSE"),
    *("desk.cmd", "desk.command", "desk.sh"),
    *("Snakefile", "run", "run.py", "pyproject.toml", "requirements.in", "requirements.lock"),
    *(".gitignore", ".editorconfig", ".pre-commit-config.yaml"),
}


def read_prose(page: str) -> str:
    """The text of a page without its code, in which brackets are no links."""
    return re.sub(r"`[^`\n]*`", "", re.sub(r"^```.*?^```", "", read(page), flags=re.S | re.M))


def list_links(page: str) -> list[str]:
    """Targets of links and pictures, in the line and as references below."""
    text = read_prose(page)
    return re.findall(r"\]\(<?([^)\s>]+)", text) + re.findall(r"^\[[^\]]+\]:\s*(\S+)", text, re.M)


def list_anchors(page: str) -> set[str]:
    """What the headings of a page are called in a link: small letters, no signs,
    a hyphen for a blank; a number where one comes again."""
    anchors, counts = set(), {}
    for title in re.findall(
        r"^#{1,6} +(.+?)\s*#*$", re.sub(r"^```.*?^```", "", read(page), flags=re.S | re.M), re.M
    ):
        name = re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-")
        counts[name] = counts.get(name, -1) + 1
        anchors.add(f"{name}-{counts[name]}" if counts[name] else name)
    return anchors


def find_fault(page: str, link: str) -> str:
    """What is wrong with a link of a page, nothing if it leads somewhere or outside."""
    parts = urlsplit(link)
    if parts.scheme:
        return "" if parts.scheme in ("https", "mailto") else "no address that a reader can open"
    target = (ROOT / page).parent / unquote(parts.path) if parts.path else ROOT / page
    if not target.resolve().is_relative_to(ROOT.resolve()) or not target.exists():
        return "no such file"
    inside = target.resolve().relative_to(ROOT.resolve()).as_posix()
    if parts.fragment and (
        not inside.endswith(".md") or parts.fragment not in list_anchors(inside)
    ):
        return "no such heading"
    return ""


@pytest.mark.parametrize("page", PAGES)
def test_every_link_leads_somewhere(page):
    faults = {link: find_fault(page, link) for link in list_links(page)}
    assert {link: fault for link, fault in faults.items() if fault} == {}


@pytest.mark.parametrize(
    ("link", "fault"),
    [
        ("docs/limits.md#estimates", ""),
        ("docs/limits.md#nowhere", "no such heading"),
        ("docs/nothing.md", "no such file"),
        ("../outside.md", "no such file"),
        ("docs/guide.pdf#page", "no such heading"),
        ("http://example.org", "no address that a reader can open"),
        ("https://example.org", ""),
    ],
)
def test_a_link_that_leads_nowhere_is_found(link, fault):
    assert find_fault("README.md", link) == fault


def test_pages_can_be_reached_from_the_first_one():
    seen, waiting = set(), ["README.md"]
    while waiting:
        page = waiting.pop()
        seen.add(page)
        links = [urlsplit(link).path for link in list_links(page) if not urlsplit(link).scheme]
        targets = {
            ((ROOT / page).parent / link).resolve() for link in links if link.endswith(".md")
        }
        waiting += sorted(
            {path.relative_to(ROOT.resolve()).as_posix() for path in targets} - seen - set(waiting)
        )
    assert set(PAGES) - seen == set()
    assert set(READERS) <= {(Path(link)).as_posix() for link in list_links("README.md")}


def test_every_decision_is_whole_and_in_the_index():
    index = read("docs/decisions/README.md")
    listed = re.findall(r"^- \[(\d{3})\]\((\1-[a-z-]+\.md)\) (.+)$", index, re.M)
    assert [f"docs/decisions/{name}" for _, name, _ in listed] == DECISIONS
    for number, name, title in listed:
        text = read(f"docs/decisions/{name}")
        assert text.startswith(f"# {int(number)}. {title}\n"), name
        parts = re.findall(r"^\*\*([A-Z][a-z ]+)\.\*\*", text, re.M)
        assert [part for part in parts if part != "Measured"] == [
            "Context",
            "Decision",
            "Consequences",
            "Superseded by",
        ], name
    assert [int(number) for number, _, _ in listed] == list(range(1, len(DECISIONS) + 1))


def test_every_word_of_the_glossary_has_its_source():
    words = re.findall(r"^\| \*\*(.+?)\*\* \| (.+?) \| (.+?) \|$", read("docs/glossary.md"), re.M)
    assert 20 <= len(words) <= 40
    assert len(words) == len(re.findall(r"^\| \*\*", read("docs/glossary.md"), re.M))
    for word, meaning, source in words:
        assert meaning.endswith("."), word
        assert re.search(r"\d{4}|common practice|this project|policy|no consensus", source), word


def test_the_picture_of_the_report_is_small():
    assert (ROOT / "docs" / "report.png").stat().st_size <= 200_000


def test_the_top_holds_what_belongs_there():
    """What somebody made there by running a tool is not kept, and does not count."""
    assert {path for path in TOP if not (ROOT / path).exists()} == set()
    try:
        kept = subprocess.run(
            ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
        ).stdout
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a checkout of git")
    assert {path for path in kept.splitlines() if "/" not in path} - TOP == set()


@pytest.mark.parametrize("page", [*READERS, "README.md", "DEVELOPERS.md", "CONTRIBUTING.md"])
def test_pages_are_short(page):
    assert len(read(page).splitlines()) <= 160
