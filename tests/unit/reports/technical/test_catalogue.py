"""The catalogue of estimates is that of the declarations, and holds whatever the demonstration pool
states."""

import csv
import io

from pipeline.reports.technical.catalogue import format_csv, format_markdown, list_entries
from pipeline.sources import ROOT
from schemas.declared import DECLARED


def test_the_catalogue_that_is_kept_is_the_one_that_is_made_today():
    assert (ROOT / "docs" / "estimates.md").read_text("utf-8") == format_markdown(), (
        "./run catalogue --out docs"
    )
    assert (ROOT / "docs" / "estimates.csv").read_text("utf-8") == format_csv(), (
        "./run catalogue --out docs"
    )


def test_it_has_a_row_for_every_declared_quantity():
    rows = list(csv.DictReader(io.StringIO(format_csv())))
    assert len(rows) == sum(map(len, DECLARED.values()))
    assert all(row["words"] and row["kind"] and row["released_to"] for row in rows)


def test_it_says_whom_a_count_is_of_and_what_adds_up():
    entries = {(entry.analysis, entry.term, entry.stratum): entry for entry in list_entries()}
    share = entries["resolution_curves", "resolved_by_day_{day}", ""]
    assert (share.n_episodes, share.n_events, share.least, share.most) == (
        "followed {endpoint}",
        "",
        "0",
        "1",
    )
    assert "informative" in share.identities or "followed" in share.identities
    incidence = entries["competing_events", "event_free_day_{day}", ""]
    assert any(
        part.startswith("1 = incidence_resolved") for part in incidence.identities.split("; ")
    )
    assert (
        entries["resolution_curves", "known_negative_day_{day}", ""].released_to == "never released"
    )
