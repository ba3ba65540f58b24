"""What a run ends with: who was accepted, who was refused and why, how much was set aside,
withdrawn and hidden."""

from pathlib import PurePosixPath

import pandas as pd

from pipeline.summary import describe_run
from schemas.notes import NEWER
from schemas.store import KEPT

RESULTS = PurePosixPath("results")


def build_tables(deliveries, counts=(), problems=()) -> dict[str, pd.DataFrame]:
    """Tables of the store from short rows: (site, delivery, status, is_current),
    (site, delivery, stored, aside), (site, delivery, rule, message)."""
    described = pd.DataFrame(deliveries, columns=["site", "delivery", "status", "is_current"])
    kept = pd.DataFrame(counts, columns=["site", "delivery", "rows_stored", "rows_set_aside"])
    problem_rows = pd.DataFrame(problems, columns=["site", "delivery", "rule", "message"]).assign(
        severity="refuse"
    )
    return {"deliveries": described, "row_counts": kept, "problems": problem_rows}


GONE = ["site", "patients_withdrawn", "episodes_left_out", "tables_searched", "files_searched"]


def summarise(tables, statuses=("ok",), withdrawn=(), release=None) -> str:
    gone = pd.DataFrame(withdrawn, columns=GONE)
    made = {"release": "2"} | (release or {})
    kept = {"folder": "2-3", "sha256": "ab12"}
    return describe_run(tables, pd.DataFrame({"status": statuses}), made, kept, gone, RESULTS)


def test_which_release_it_is_is_told_and_when_an_earlier_one_stays():
    tables = build_tables([("S01", "001", "accepted", True)])
    lines = summarise(tables).splitlines()
    first = lines.index("Release     2")
    assert [line.strip() for line in lines[first + 1 : first + 3]] == [
        "kept in results/release/2-3",
        "SHA-256 of its description: ab12",
    ]
    assert "Release     release 1 stays\n" in summarise(tables, release={NEWER: "release 1 stays"})


def test_a_refused_site_is_named_with_its_reason_and_its_page():
    tables = build_tables(
        [("S01", "001", "accepted", True), ("S10", "001", "refused", False)],
        problems=[
            ("S10", "001", "no_tables", "There is no table."),
            ("S10", "001", "no_tables", "There is no table."),
        ],
    )
    lines = summarise(tables).splitlines()
    assert lines[0] == "Deliveries  1 accepted, 1 refused"
    assert lines[1].strip() == "S10/001 refused: there is no table; the site is not in the pool"
    assert lines[2].strip() == "results/intake/S10/001/report.html"


def test_what_counts_instead_of_a_refused_delivery_is_named_and_a_mended_one_is_not_told():
    tables = build_tables(
        [
            ("S01", "001", "refused", False),
            ("S01", "002", "accepted", True),
            ("S02", "001", "accepted", True),
            ("S02", "002", "refused", False),
        ],
        problems=[
            (*key, "no_tables", "There is no table.") for key in (("S01", "001"), ("S02", "002"))
        ],
    )
    summary = summarise(tables)
    assert "2 accepted, 2 refused" in summary
    assert "S02/002 refused: there is no table; 001 counts instead" in summary
    assert "S01/001" not in summary


def test_rows_set_aside_are_those_of_current_deliveries_with_their_pages():
    tables = build_tables(
        [
            ("S06", "001", "accepted", False),
            ("S06", "002", "accepted", True),
            ("S09", "001", "accepted", True),
        ],
        counts=[
            ("S06", "001", 1446, 240),
            ("S06", "002", 1749, 0),
            ("S09", "001", 500, 3),
            ("S09", "001", 66, 2),
        ],
    )
    summary = summarise(tables)
    assert "2,315 rows stored, 5 set aside until they are mended" in summary
    assert "5 of S09: results/intake/S09/001/report.html" in summary
    assert "S06" not in summary


def test_many_places_are_counted_and_not_listed():
    sites = [f"S{number:02}" for number in range(1, 21)]
    tables = build_tables(
        [(site, "001", "accepted", True) for site in sites], [(site, "001", 9, 1) for site in sites]
    )
    summary = summarise(tables)
    assert "20 set aside" in summary
    assert "those of 12 further sites" in summary


def test_numbers_are_counted_by_what_became_of_them():
    """A line each, the numbers below each other."""
    summary = summarise(
        build_tables([("S01", "001", "accepted", True)]),
        ["ok"] * 3 + ["suppressed"] * 12 + ["too_few", "bounded"],
    )
    assert (
        "Numbers      3 can be used\n"
        "             1 not given because there are too few episodes or events\n"
        "            12 hidden to protect people and sites\n"
        "             1 shown only as a limit (at most, or at least), to protect people\n"
    ) in summary


def test_withdrawals_are_told_only_where_there_are_some():
    tables = build_tables([("S01", "001", "accepted", True)])
    assert "Withdrawn" not in summarise(tables)
    told = (
        "Withdrawn   1 patient of S01; 2 episodes left out; now in none of 19 tables and 30 files"
    )
    assert told in summarise(tables, withdrawn=[("S01", 1, 2, 19, 30)])


def test_an_empty_pool_is_told_too():
    tables = {name: KEPT[name].empty() for name in ("deliveries", "row_counts", "problems")}
    assert "0 accepted, 0 refused" in summarise(tables, [])
