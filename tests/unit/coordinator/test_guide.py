"""The coordinator's guide shows what the project does: its pictures are of the present check,
copy and page, its commands exist."""

import json
import re
from pathlib import Path

import pytest
import typst

from pipeline.__main__ import TOOLS
from pipeline.coordinator.guide import SLIPS, describe_guide
from pipeline.reports.typeset import TEMPLATES, typeset_report
from schemas.study import read_config

ROOT = Path(__file__).parents[3]
WORDS = (TEMPLATES / "guide.typ").read_text("utf-8")


@pytest.fixture(scope="module")
def content():
    return describe_guide(read_config(ROOT / "config"))


def test_the_guide_that_is_kept_is_the_one_that_is_made_today(content, tmp_path):
    typeset_report("guide.typ", content, tmp_path / "guide.pdf")
    assert (tmp_path / "guide.pdf").read_bytes() == (ROOT / "docs" / "guide.pdf").read_bytes(), (
        "./run guide --out docs/guide.pdf"
    )


def test_it_has_two_pages(content, tmp_path):
    (tmp_path / "guide.typ").write_text(WORDS, "utf-8")
    (tmp_path / "content.json").write_text(json.dumps(content), "utf-8")
    assert len(typst.compile(str(tmp_path / "guide.typ"), format="svg")) == 2


def test_its_pictures_show_the_slips_and_nothing_else_to_mend(content):
    columns = {column for _, _, column, _ in SLIPS}
    shown = {place["column"] for group in content["page"]["groups"] for place in group["places"]}
    assert shown - {"episode_id"} == columns
    marked = [
        cell["text"] for row in content["marked"]["rows"] for cell in row["cells"] if cell["marked"]
    ]
    assert marked == [typed for table, _, _, typed in SLIPS if table == "episodes"]
    assert content["marked"]["comment"]
    assert "written by" not in content["marked"]["comment"]
    assert "posterior" in content["template"]["list"]


def test_its_commands_exist():
    tools = {tool.__name__.rpartition(".")[2] for tool in TOOLS}
    assert {"template", "check"} <= set(re.findall(r"\./run (\w+)", WORDS)) <= tools
