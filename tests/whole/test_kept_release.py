"""The release of the demonstration pool as it is handed on: another implementation of the open
standard finds it valid, and what it says of itself is so."""

import shutil

import pytest
from frictionless import Package

from pipeline.releases.package import PACKAGE, find_changes, read_package
from tests.whole.conftest import pool_run

__all__ = ["pool_run"]


@pytest.fixture(scope="module")
def kept(pool_run):
    return pool_run[0] / "results" / "release" / "1"


def test_another_implementation_finds_every_table_valid(kept):
    report = Package(str(kept / PACKAGE)).validate()
    assert report.valid, report.flatten(["name", "title", "fieldName"])[:10]
    assert report.stats["tasks"] > 30


def test_it_holds_what_may_leave_and_is_as_it_was_made(kept, pool_run):
    package = read_package(kept)
    assert find_changes(package) == []
    results = pool_run[0] / "results"
    assert {path.partition("/")[0] for path in package.hashes} == {"estimates", "reports"}
    assert all((results / path).exists() for path in package.hashes)
    assert "reports/committee.pdf" in package.hashes
    assert str((results / "release" / "latest.csv").read_text()).split()[1].startswith("1,")


def test_one_changed_digit_is_seen_by_both(kept, tmp_path):
    copy = tmp_path / "1"
    shutil.copytree(kept, copy)
    table = copy / "estimates" / "recurrence.csv"
    text = table.read_text("utf-8")
    table.write_text(text.replace(",0.", ",1.", 1), "utf-8")
    assert table.read_text("utf-8") != text
    assert not Package(str(copy / PACKAGE)).validate().valid
    assert find_changes(read_package(copy)) == [
        "estimates/recurrence.csv was changed since it was released"
    ]
