"""Taking in a site's deliveries: what is written for each, and that the list of those who withdrew
costs the site's tables one reading."""

import copy

import pandas as pd
import pytest

from pipeline.intake import withdrawals
from pipeline.sources import ROOT
from pipeline.steps import intake
from tests.unit.intake.conftest import plain_tables, to_grids, write_csv

GONE = "PT-2"


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory):
    """Three deliveries of a site, one of them refused, of whose patients one withdrew: where they
    were written to, what was counted, and how often a delivery was read for the list."""
    place = tmp_path_factory.mktemp("pool")
    folders = [place / "S01" / number for number in ("001", "002", "003")]
    for folder in folders:
        tables = copy.deepcopy(plain_tables())
        tables["submission"]["delivery"] = folder.name
        if folder.name == "002":
            del tables["treatments"]
        if folder.name == "003":
            tables["episodes"][0]["age_years"] += 1
        write_csv(folder, to_grids(tables))
    (place / "S01" / "withdrawn.csv").write_text(f"patient_id\n{GONE}\n", "utf-8")
    read = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            withdrawals,
            "read_delivery",
            lambda folder, site_map, real=withdrawals.read_delivery: (
                read.append(folder.name) or real(folder, site_map)
            ),
        )
        words = ["--plan", str(ROOT / "config"), "--results", str(place / "results"), "--invented"]
        patch.setattr("sys.argv", ["intake", *words, *map(str, folders)])
        counts = intake.main()
    return place / "results", counts, read


def test_each_delivery_has_its_rows_and_its_page(taken_in):
    results, counts, _ = taken_in
    assert counts["deliveries"] == 3
    assert counts["deliveries refused"] == 1
    for number in ("001", "002", "003"):
        assert "nobody" in (results / "intake" / "S01" / number / "report.html").read_text("utf-8")
        deliveries = pd.read_parquet(results / "rows" / "S01" / number / "deliveries.parquet")
        assert deliveries["status"].item() == ("refused" if number == "002" else "accepted")


def test_a_delivery_is_compared_with_the_accepted_one_before(taken_in):
    results, _, _ = taken_in
    changes = pd.read_parquet(results / "rows" / "S01" / "003" / "changes.parquet")
    assert set(changes["previous_delivery"]) == {"001"}


def test_who_withdrew_is_in_no_file_and_each_delivery_was_read_once_for_that(taken_in):
    results, counts, read = taken_in
    assert counts["rows withdrawn"] > 0
    assert sorted(read) == ["001", "002", "003"]
    for path in results.rglob("*.parquet"):
        assert not pd.read_parquet(path).eq(GONE).any(axis=None), path.name
