"""What a kept release says of itself can be read and checked by others, and every change shows."""

import json

import pytest
from frictionless import Package as Frictionless

from pipeline.releases.package import (
    PACKAGE,
    NoRelease,
    describe_release,
    find_changes,
    read_package,
)
from tests.pool_of_estimates import build_estimates

MADE_FROM = {"release": "3", "version": "0.9.0", "deliveries": "aa", "plan": "bb", "code": "cc"}


@pytest.fixture
def kept(tmp_path, plan):
    """A folder of one table, two pages and their description."""
    (tmp_path / "estimates").mkdir()
    (tmp_path / "reports").mkdir()
    rows = build_estimates(plan)["resolution_curves"]
    rows.to_csv(tmp_path / "estimates" / "resolution_curves.csv", index=False)
    (tmp_path / "reports" / "committee.html").write_text("<p>page</p>")
    (tmp_path / "reports" / "committee.pdf").write_bytes(b"%PDF-")
    files = {p.relative_to(tmp_path).as_posix(): p for p in tmp_path.rglob("*") if p.is_file()}
    (tmp_path / PACKAGE).write_text(describe_release(files, MADE_FROM), "utf-8")
    return tmp_path


def test_another_implementation_reads_it_and_finds_it_valid(kept):
    package = Frictionless(str(kept / PACKAGE))
    report = package.validate()
    assert report.valid, report.flatten(["name", "title", "note"])
    assert package.get_resource("estimates-resolution-curves.csv").read_rows()


def test_another_implementation_sees_a_changed_number(kept):
    table = kept / "estimates" / "resolution_curves.csv"
    table.write_text(table.read_text().replace("0.", "1.", 1))
    assert not Frictionless(str(kept / PACKAGE)).validate().valid


def test_what_it_was_made_from_is_read_back_and_nothing_differs(kept):
    package = read_package(kept)
    assert package.made_from == MADE_FROM
    assert package.number == 3
    assert find_changes(package) == []


def test_every_kind_of_change_is_found(kept):
    (kept / "reports" / "committee.html").write_text("<p>Page</p>")
    (kept / "reports" / "committee.pdf").unlink()
    (kept / "reports" / "more.html").write_text("")
    assert find_changes(read_package(kept)) == [
        "reports/committee.pdf is missing",
        "reports/more.html was not part of the release",
        "reports/committee.html was changed since it was released",
    ]


def test_a_link_in_place_of_a_file_is_a_change(kept, tmp_path_factory):
    page = kept / "reports" / "committee.html"
    elsewhere = tmp_path_factory.mktemp("elsewhere") / "same.html"
    elsewhere.write_bytes(page.read_bytes())
    page.unlink()
    page.symlink_to(elsewhere)
    assert find_changes(read_package(kept)) == [
        "reports/committee.html was changed since it was released"
    ]


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{", '{"resources": []}', '{"resources": [{}], "madeFrom": {"release": "1"}}'],
)
def test_a_damaged_description_has_a_sentence(kept, text):
    (kept / PACKAGE).write_text(text)
    with pytest.raises(NoRelease, match="cannot be read"):
        read_package(kept)


def test_a_folder_without_a_description_has_a_sentence(tmp_path):
    with pytest.raises(NoRelease, match="is no release"):
        read_package(tmp_path)


def test_who_may_see_it_and_where_it_was_made_are_told(kept):
    said = json.loads((kept / PACKAGE).read_text("utf-8"))
    assert "ledger of releases may not" in said["audience"]
    assert set(said["platform"]) == {"python", "system"}
