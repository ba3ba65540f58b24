"""The version, the licence and how to cite are stated once, or alike."""

import re

import yaml

from pipeline import __version__
from run import read_version
from tests.contract.test_floors import ROOT


def test_the_version_is_the_same_everywhere():
    assert re.fullmatch(r"\d+\.\d+\.\d+", __version__)
    assert read_version() == __version__
    assert yaml.safe_load((ROOT / "CITATION.cff").read_text("utf-8"))["version"] == __version__


def test_the_changelog_begins_with_what_is_not_released_and_then_this_version():
    titles = re.findall(
        r"^## \[(.+?)\](?: - (\d{4}-\d\d-\d\d))?$", (ROOT / "CHANGELOG.md").read_text("utf-8"), re.M
    )
    cited = yaml.safe_load((ROOT / "CITATION.cff").read_text("utf-8"))
    assert titles[0] == ("Unreleased", "")
    assert titles[1] == (__version__, str(cited["date-released"]))


def test_the_citation_has_what_its_schema_asks_for_and_the_licence_of_the_project():
    """Citation File Format 1.2.0: authors, cff-version, message and title are required;
    licences are SPDX identifiers."""
    cited = yaml.safe_load((ROOT / "CITATION.cff").read_text("utf-8"))
    assert {"authors", "cff-version", "message", "title"} <= set(cited)
    assert cited["cff-version"] == "1.2.0"
    assert cited["license"] == "BSD-3-Clause"
    text = (ROOT / "LICENSE").read_text("utf-8")
    assert text.startswith("BSD 3-Clause License")
    assert cited["title"] in text
    assert (ROOT / "README.md").read_text("utf-8").startswith(f"# {cited['title']}\n")
