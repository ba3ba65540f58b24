"""A released number is found by its names, and a name that is none leads to those that are near."""

import pytest

from pipeline.releases.keep import keep_release
from pipeline.releases.package import read_package
from pipeline.trace.released import NoSuchRow, find_printed
from tests.pool_of_estimates import build_estimates

CURVES, BY_30 = "resolution_curves", "resolved_by_day_30"


@pytest.fixture
def package(tmp_path, plan):
    """A kept release of the curves alone."""
    folder = tmp_path / "results" / "estimates"
    folder.mkdir(parents=True)
    (tmp_path / "results" / "release").mkdir()
    path = folder / f"{CURVES}.csv"
    build_estimates(plan)[CURVES].to_csv(path, index=False)
    return read_package(keep_release(tmp_path / "results", [path], {"release": "1"}))


def test_a_row_is_told_with_the_line_of_its_file(package):
    rows = find_printed(package, CURVES, BY_30, ["endpoint=objective"])
    assert len(rows) == 1
    line = (package.folder / rows[0].path).read_text("utf-8").splitlines()[rows[0].line - 1]
    assert line.startswith(f"{CURVES},positional,objective,all,{BY_30},")
    assert rows[0].row["estimate"] in line.split(",")


def test_parts_of_a_stratum_may_come_in_any_order(package):
    one = find_printed(package, CURVES, BY_30, ["canal=lateral", "arm=cupula"])
    assert one == find_printed(package, CURVES, BY_30, ["arm=cupula,canal=lateral"])
    assert {each.row["stratum"] for each in one} == {"canal=lateral,arm=cupula"}


def test_without_an_endpoint_all_that_have_the_name_are_found(package):
    found = find_printed(package, CURVES, BY_30, [])
    assert len({each.row["endpoint"] for each in found}) == len(found) > 1


@pytest.mark.parametrize(
    ("named", "meant"),
    [
        (("resolution_curve", BY_30, []), CURVES),
        ((CURVES, "resolved_day_30", []), BY_30),
        ((CURVES, BY_30, ["canal=posterio"]), "canal=posterior"),
        ((CURVES, BY_30, ["endpoint=objectiv"]), "objective"),
    ],
)
def test_a_name_that_is_none_leads_to_one_that_is(package, named, meant):
    with pytest.raises(NoSuchRow, match=f"Did you mean .*{meant}"):
        find_printed(package, *named)


def test_an_analysis_that_a_release_does_not_hold_is_told(package):
    with pytest.raises(NoSuchRow, match=r"holds no estimates/recurrence\.csv"):
        find_printed(package, "recurrence", "recurred_by_day_30", [])
