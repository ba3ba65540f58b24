"""Whatever a folder of deliveries holds, the check of it ends as the workflow's intake would:
accepted, rows set aside, or refused or skipped."""

import os
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from pipeline.coordinator.check import FINE, REFUSED, SET_ASIDE, NothingToCheck, check_path
from pipeline.intake.folders import list_deliveries
from pipeline.intake.receive import receive_delivery
from tests.unit.intake.conftest import plain_tables, to_grids, write_csv

FOLDERS = st.tuples(
    st.sampled_from(["S01", "S01", "S02", "S1", "old"]),
    st.sampled_from(["001", "001", "002", "1", "final"]),
)
MISHAPS = st.sampled_from(
    [
        "",
        "",
        "stray file",
        "missing table",
        "table twice",
        "marked copy",
        "wrong cell",
        "unclear list",
    ]
)


def write(root: Path, place: tuple[str, str], mishap: str) -> None:
    """A delivery of site S01, number 001, in a folder of any name, with one thing amiss."""
    tables = plain_tables()
    if mishap == "wrong cell":
        tables["followups"][0]["dhi_total"] = 37
    folder = write_csv(root / place[0] / place[1], to_grids(tables))
    if mishap == "stray file":
        (folder / "notes.txt").write_text("")
    elif mishap == "missing table":
        (folder / "followups.csv").unlink()
    elif mishap in ("table twice", "marked copy"):
        name = "Episodes.CSV" if mishap == "table twice" else "S01_001_marked.xlsx"
        (folder / name).write_bytes((folder / "episodes.csv").read_bytes())
    elif mishap == "unclear list":
        (folder.parent / "withdrawn.csv").write_text("code\nsomebody\n")


def take_in(root: Path, config) -> int:
    """The gravest that the workflow makes of the deliveries in a folder;
    skipped ones are never pooled."""
    deliveries, skipped = list_deliveries(root)
    worst, last = REFUSED if skipped else FINE, {}
    for delivery in deliveries:
        received = receive_delivery(delivery.folder, config, last.get(delivery.site))
        if received.accepted:
            last[delivery.site] = received
        aside = received.tables["row_counts"]["rows_set_aside"].sum() > 0
        worst = max(worst, (SET_ASIDE if aside else FINE) if received.accepted else REFUSED)
    return worst


@settings(max_examples=14, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(FOLDERS, MISHAPS, min_size=1, max_size=2))
@example({("S01", "001"): "", ("S01", "final"): ""})
@example({("S01", "001"): "unclear list"})
@example({("S01", "001"): "marked copy"})
def test_the_check_ends_as_intake_does(plan, drawn):
    with tempfile.TemporaryDirectory() as temporary:
        root = Path(temporary)
        for place, mishap in drawn.items():
            write(root, place, mishap)
        if list_deliveries(root)[0]:
            assert check_path(root, plan) == take_in(root, plan)
        else:  # no folder is named as a delivery: there is nothing that the workflow would take in
            with pytest.raises(NothingToCheck):
                check_path(root, plan)


@pytest.mark.skipif(os.name == "nt", reason="links need rights of their own there")
def test_what_is_reached_by_a_link_is_never_checked_for_it(plan, tmp_path, capsys):
    pool = tmp_path / "pool"
    write_csv(pool / "S01" / "001", to_grids(plain_tables()))
    assert check_path(pool, plan) in (FINE, SET_ASIDE)
    rows = "rows are stored"
    assert rows in capsys.readouterr().out
    (pool / "S02").symlink_to("S01")
    (pool / "S01" / "002").symlink_to("001")
    for path in (pool / "S02", pool / "S02" / "001", pool / "S01" / "002"):
        assert check_path(path, plan) == REFUSED
        shown = " ".join(capsys.readouterr().out.split())
        assert "link" in shown
        assert "as a copy" in shown or "Put a copy" in shown
        assert rows not in shown
    assert check_path(pool, plan) == REFUSED
    assert "S02 would be skipped" in capsys.readouterr().out
    lone = tmp_path / "lone.xlsx"
    lone.symlink_to(pool / "S01" / "001" / "episodes.csv")
    with pytest.raises(NothingToCheck, match="is a link"):
        check_path(lone, plan)
