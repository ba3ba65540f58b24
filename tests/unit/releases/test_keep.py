"""A release is kept once, whole and at once; another one of the same number stands beside it."""

import os
import stat

import pytest

from pipeline.releases.keep import keep_release
from pipeline.releases.package import PACKAGE, find_changes, read_package

MADE_FROM = {"release": "3", "version": "0.9.0", "deliveries": "aa", "plan": "bb", "code": "cc"}


@pytest.fixture
def results(tmp_path):
    """A folder of results with two things that may leave, and one that may not."""
    for name in ("estimates", "reports/figures", "release", "sites"):
        (tmp_path / name).mkdir(parents=True)
    (tmp_path / "estimates" / "a.csv").write_text("analysis\n")
    (tmp_path / "reports" / "figures" / "one.svg").write_text("<svg/>")
    (tmp_path / "reports" / "figures" / ".snakemake_timestamp").touch()
    (tmp_path / "sites" / "own.html").write_text("own")
    return tmp_path


def keep(results, **made_from):
    made = [results / "estimates" / "a.csv", results / "reports" / "figures"]
    return keep_release(results, made, MADE_FROM | made_from)


def test_what_may_leave_is_kept_whole_and_nothing_else(results):
    folder = keep(results)
    assert folder == results / "release" / "3"
    assert sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()) == [
        PACKAGE,
        "estimates/a.csv",
        "reports/figures/one.svg",
    ]
    assert find_changes(read_package(folder)) == []


def test_the_same_again_is_kept_once(results):
    first = keep(results)
    times = {path: path.stat().st_mtime_ns for path in first.rglob("*")}
    assert keep(results) == first
    assert {path: path.stat().st_mtime_ns for path in first.rglob("*")} == times
    assert [path.name for path in (results / "release").iterdir()] == ["3"]


def test_other_bytes_of_one_number_stand_beside_it(results):
    first = keep(results)
    before = (first / PACKAGE).read_text()
    assert keep(results, plan="dd").name == "3-2"
    (results / "reports" / "figures" / "one.svg").write_text("<svg></svg>")
    assert keep(results, plan="dd").name == "3-3"
    assert keep(results, release="4").name == "4"
    assert (first / PACKAGE).read_text() == before
    assert find_changes(read_package(first)) == []


def test_a_kept_release_that_was_changed_is_not_taken_for_this_one_nor_written_over(results):
    first = keep(results)
    (first / "estimates" / "a.csv").write_text("something else")
    assert keep(results).name == "3-2"
    assert (first / "estimates" / "a.csv").read_text() == "something else"


def test_release_30_is_no_printing_of_release_3(results):
    assert keep(results, release="30").name == "30"
    assert keep(results).name == "3"


def test_what_a_killed_run_left_is_swept_away(results):
    (results / "release" / "building" / "estimates").mkdir(parents=True)
    (results / "release" / "building" / "estimates" / "half.csv").write_text("half")
    assert not (keep(results) / "estimates" / "half.csv").exists()
    assert not (results / "release" / "building").exists()


@pytest.mark.skipif(os.name == "nt", reason="rights are those of POSIX")
def test_it_has_the_rights_of_what_may_leave(results):
    before = os.umask(0o077)
    try:
        (results / "release").chmod(0o755)
        folder = keep(results)
    finally:
        os.umask(before)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o755
    assert stat.S_IMODE((folder / "estimates" / "a.csv").stat().st_mode) == 0o644
