"""The demonstration pool's report: every count it prints stands in the ledger or the estimates,
and analyses count whom the ledger counts."""

import re
import shutil
import subprocess

import pandas as pd
import pytest

from schemas.denominators import BASES
from tests.printed_counts import find_counts, list_allowed, read_counts
from tests.printed_differences import read_handicap, read_number, read_rows

PDF_TO_TEXT = shutil.which("pdftotext")

SAME = [  # analysis, population, endpoint, stratum, term: the base whose number n_episodes is
    ("episode_flow", "pool", None, "all", "handed_in", "handed_in"),
    ("episode_flow", "pool", None, "all", "stored", "stored"),
    ("episode_flow", "pool", None, "all", "positional", "positional"),
    ("episode_flow", "pool", None, "all", "probable_non_positional", "apart"),
    ("pool_description", "stored", None, "sex=female", "share", "stored"),
    ("pool_description", "positional", None, "canal=posterior", "share", "positional"),
    ("pool_description", "positional", None, "first_maneuver=epley", "share", "treated"),
    ("sequence_paths", "positional", None, "all", "treated", "treated"),
    ("sequence_paths", "positional", None, "path=start", "reached", "complete"),
    ("joint_resolution", "positional", "objective", "all", "resolved_by_day_7", "complete"),
    ("resolution_curves", "positional", "objective", "all", "resolved_by_day_7", "followed"),
    ("resolution_curves", "positional", "strict", "all", "resolved_by_day_7", "followed_strict"),
    (
        "resolution_curves",
        "positional",
        "composite",
        "all",
        "resolved_by_day_7",
        "followed_composite",
    ),
    (
        "resolution_curves",
        "positional",
        "patient_reported",
        "all",
        "resolved_by_day_7",
        "followed_patient_reported",
    ),
    (
        "failure_reasons",
        "first maneuver failed",
        None,
        "view=at_the_time,reason=technique",
        "share",
        "taken_for_failed",
    ),
    (
        "second_line",
        "positional, first session failed",
        "objective",
        "all",
        "failed_first_session",
        "failed",
    ),
    (
        "second_line",
        "positional, first session failed",
        "objective",
        "all",
        "naive_risk_difference_day_7",
        "compared",
    ),
    ("attempt_success", None, None, "attempt_number=1", "success_raw", "first_sessions_tested"),
    ("attempt_success", None, None, "attempt_number=4+", "success_raw", "later_sessions_tested"),
]


def read(folder) -> dict[str, pd.DataFrame]:
    return {
        path.stem: pd.read_csv(path) for path in folder.glob("*.csv") if path.stem != "fingerprints"
    }


@pytest.fixture(scope="module")
def unreleased(pool_run):
    return read(pool_run[0] / "results" / "unreleased")


def test_every_count_of_the_report_has_its_noun_and_its_source(pool_run):
    results = pool_run[0] / "results"
    counts, unexplained = read_counts((results / "reports" / "committee.html").read_text("utf-8"))
    assert unexplained == []
    assert len(counts) > 60
    assert counts - list_allowed(read(results / "estimates")) == set()


def test_every_printed_difference_is_that_of_the_printed_numbers(pool_run):
    page = (pool_run[0] / "results" / "reports" / "committee.html").read_text("utf-8")
    rows = [[read_number(cell) for cell in cells] for cells in read_rows(page)]
    complete = [cells for cells in rows if None not in cells]
    assert len(complete) >= 3
    for first, second, difference in complete:
        assert difference == pytest.approx(second - first, abs=1e-9)
    means, changes = read_handicap(page)
    assert len(changes) >= 2
    assert changes == {day: means[day] - means[0] for day in changes}


@pytest.mark.skipif(PDF_TO_TEXT is None, reason="needs poppler to read the print")
def test_the_print_counts_as_the_page_does(pool_run):
    results = pool_run[0] / "results"
    read_print = [PDF_TO_TEXT, "-raw", results / "reports" / "committee.pdf", "-"]
    text = subprocess.run(read_print, capture_output=True, check=True).stdout.decode("utf-8")
    # a page's own number would be read with the words that the next one begins with
    without_feet = re.sub(r"\n[^\n]* \d+ of \d+\n\f", "\n", text)
    counts = find_counts(" ".join(without_feet.split()))
    assert len(counts) > 30
    assert counts - list_allowed(read(results / "estimates")) == set()


@pytest.mark.parametrize("row", SAME, ids=lambda row: f"{row[0]} {row[3]} {row[4]}")
def test_analyses_count_whom_the_ledger_counts(unreleased, row):
    analysis, population, endpoint, stratum, term, base = row
    rows = unreleased[analysis]
    rows = rows[rows["stratum"].eq(stratum) & rows["term"].eq(term)]
    rows = rows[rows["population"].eq(population)] if population else rows
    rows = rows[rows["endpoint"].eq(endpoint)] if endpoint else rows
    (counted,) = rows["n_episodes"].unique()
    ledger = unreleased["denominators"].set_index("term")["n_episodes"]
    assert counted == ledger[base]


def test_a_base_and_what_is_left_of_the_larger_one_add_up(unreleased):
    ledger = unreleased["denominators"].set_index("term")["estimate"]
    for name, base in BASES.items():
        if base.without:
            assert ledger[name] + ledger[f"without_{name}"] == ledger[base.of], name
        elif base.of:
            assert ledger[name] <= ledger[base.of], name
    parts = [f"{ordinal}_sessions" for ordinal in ("first", "second", "third", "later")]
    assert ledger[parts].sum() == ledger["sessions"]
