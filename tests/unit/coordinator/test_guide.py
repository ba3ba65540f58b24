"""The coordinator's guide shows what the project does: its sheets are of the present workbooks, its
words are those of the page, its commands exist.

tests/contract/test_guide_pictures.py asks whether its photographs are of the page of today.
"""

import json
import re
import shutil
import tomllib
from pathlib import Path

import pytest
import typst

from pipeline.__main__ import TOOLS
from pipeline.coordinator.guide import SLIPS, describe_guide, list_pictures
from pipeline.reports.typeset import TEMPLATES, typeset_report
from schemas.study import read_config

ROOT = Path(__file__).parents[3]
WORDS = (TEMPLATES / "guide.typ").read_text("utf-8")
PRESSED = (
    "Save the workbook",
    "Check",
    "Save the marked copy",
    "Check again",
    "Save as a delivery",
    "Say what your own words mean",
    "Check with these words",
    "Save the list of words",
    "Type episodes here",
    "Check and add to the workbook",
)


@pytest.fixture(scope="module")
def content():
    return describe_guide(read_config(ROOT / "config"))


def test_the_guide_that_is_kept_is_the_one_that_is_made_today(content, tmp_path):
    typeset_report("guide.typ", content, tmp_path / "guide.pdf", list_pictures())
    assert (tmp_path / "guide.pdf").read_bytes() == (ROOT / "docs" / "guide.pdf").read_bytes(), (
        "./run guide --out docs/guide.pdf"
    )


def test_it_has_four_pages_and_one_for_the_terminal(content, tmp_path):
    (tmp_path / "guide.typ").write_text(WORDS, "utf-8")
    (tmp_path / "content.json").write_text(json.dumps(content), "utf-8")
    for picture in list_pictures():
        shutil.copy(picture, tmp_path)
    pages = typst.compile(str(tmp_path / "guide.typ"), format="svg")
    assert len(pages) <= 5


def test_every_picture_is_shown(content):
    assert set(re.findall(r'photo\("(\w+)"', WORDS)) == set(content["pictures"])


def test_its_sheets_show_the_slips_and_nothing_else_to_mend(content):
    marked = [
        cell["text"] for row in content["marked"]["rows"] for cell in row["cells"] if cell["marked"]
    ]
    assert marked == [typed for table, _, _, typed in SLIPS if table == "episodes"]
    assert content["marked"]["comment"]
    assert "written by" not in content["marked"]["comment"]
    assert "posterior" in content["template"]["list"]


def test_what_it_says_to_press_stands_on_the_page():
    page = tomllib.loads((TEMPLATES / "desk.toml").read_text("utf-8"))
    said = {text for part in page.values() for text in part.values()}
    assert {text for text in PRESSED if f"*{text}*" in WORDS} == set(PRESSED)
    assert set(PRESSED) <= said


def test_the_window_that_it_shows_says_what_the_starter_says():
    sources = "".join(
        (ROOT / path).read_text("utf-8")
        for path in ("pipeline/commands/desk.py", "environment/make.py")
    )
    spoken = re.sub(r'"\s*\n\s*f?"', "", sources)
    shown = re.findall(r"^        \[(.+?)\]", WORDS, re.MULTILINE)
    assert len(shown) == 4
    for line in shown:
        for part in re.split(r" … ?|…|\d+ s", line):
            assert part.strip(" ,.") in spoken, part


def test_its_commands_exist():
    tools = {tool.__name__.rpartition(".")[2] for tool in TOOLS}
    named = set(re.findall(r"\./run (\w+)", WORDS))
    assert {"desk", "template", "check"} <= named <= tools
