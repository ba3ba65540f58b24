"""A patient withdraws between two runs: the workflow rewrites what it had made, leaves a count,
and fails where somebody is left."""

import subprocess
import sys

import duckdb
import pandas as pd
import pytest

from tests.handed_in import write_delivery
from tests.unit.intake.conftest import plain_tables
from tests.whole.conftest import ROOT, run_workflow

CODES = (b"PT-1", b"EP-1", b"EP-2")  # the patient, and the episodes


def find_codes(results) -> list[str]:
    """The files of a run that hold one of the codes, their tables read as texts."""
    places = []
    for path in sorted(path for path in results.rglob("*") if path.is_file()):
        content = path.read_bytes()
        if path.suffix == ".parquet":
            content += pd.read_parquet(path).to_csv().encode()
        if path.suffix == ".duckdb":
            with duckdb.connect(str(path), read_only=True) as store:
                names = [
                    name
                    for (name,) in store.execute(
                        "SELECT table_name FROM duckdb_tables()"
                    ).fetchall()
                ]
                content += "".join(
                    store.execute(f'SELECT * FROM "{n}"').df().to_csv() for n in names
                ).encode()
        places += (
            [path.relative_to(results).as_posix()] if any(code in content for code in CODES) else []
        )
    return places


@pytest.fixture(scope="module")
def pool(tmp_path_factory):
    """Two deliveries of one site: the second one holds a test whose episode was left out of it."""
    directory = tmp_path_factory.mktemp("withdrawn")
    tables = {name: rows for name, rows in plain_tables().items() if name != "submission"}
    for row in tables["episodes"]:
        row |= {"arm_basis": "", "other_diagnosis_day": "", "onset_day": -3}
    tables["followups"][0]["dhi_total"] = 37  # set aside, and in the list of problems
    write_delivery(directory / "pool", tables, "S01", "001", last_year=2025)
    tables["episodes"] = [row for row in tables["episodes"] if row["patient_id"] != "PT-1"]
    write_delivery(directory / "pool", tables, "S01", "002", last_year=2025)
    return directory


def prove(directory) -> subprocess.CompletedProcess:
    """The proof alone, as the workflow starts it."""
    command = [sys.executable, "-m", "pipeline.steps.withdrawals", "--plan", "config"]
    command += [
        "--results",
        str(directory / "results"),
        "--out",
        str(directory / "withdrawals.csv"),
        str(directory / "pool" / "S01"),
    ]
    return subprocess.run(command, cwd=ROOT, text=True, capture_output=True, check=False)


def run(directory, *targets: str):
    return run_workflow(
        directory, *targets, submissions=directory / "pool", results=directory / "results"
    )


def test_withdrawing_rewrites_everything_and_the_run_proves_it(pool):
    results = pool / "results"
    first = run(pool, str(results / "warehouse.duckdb"))
    assert first.returncode == 0, first.stdout[-2000:]
    before = find_codes(results)
    assert {
        "warehouse.duckdb",
        "intake/S01/001/problems.csv",
        "rows/S01/002/set_aside.parquet",
    } <= set(before)
    (pool / "pool" / "S01" / "withdrawn.csv").write_text("patient_id\nPT-1\n")
    assert prove(pool).returncode == 1  # nothing was rewritten yet
    second = run(pool, str(results / "warehouse.duckdb"))
    assert second.returncode == 0, second.stdout[-2000:]
    assert find_codes(results) == []
    assert prove(pool).returncode == 0
    counts = pd.read_csv(pool / "withdrawals.csv")
    withdrawn = counts[["site", "patients_withdrawn", "episodes_left_out"]]
    assert withdrawn.to_dict("records") == [
        {"site": "S01", "patients_withdrawn": 1, "episodes_left_out": 2}
    ]
    assert (counts["tables_searched"] > 0).all()
    assert (counts["files_searched"] > 0).all()
    with duckdb.connect(str(results / "warehouse.duckdb"), read_only=True) as store:
        gone = store.execute(
            "SELECT delivery, sum(rows_withdrawn) FROM row_count GROUP BY 1 ORDER BY 1"
        ).fetchall()
        unbalanced = store.execute(
            "SELECT count(*) FROM row_count WHERE rows_in <> rows_stored + rows_set_aside + "
            "rows_withdrawn + rows_refused"
        ).fetchone()
    # 2 episodes, 3 tests, 3 attempts, 2 contacts; then without the episodes
    assert gone == [("001", 10), ("002", 8)]
    assert unbalanced == (0,)


def test_the_proof_fails_where_somebody_is_left_and_names_the_place_only(pool):
    # left by a delivery that is no longer handed in
    stale = pool / "results" / "rows" / "S01" / "000" / "notes.csv"
    stale.parent.mkdir()
    stale.write_text("episode_id\nEP-2\n")
    failed = prove(pool)
    stale.unlink()
    assert failed.returncode == 1
    assert (
        failed.stderr.strip() == "1 places still hold somebody who withdrew: rows/S01/000/notes.csv"
    )
    assert not any(code.decode() in failed.stdout for code in CODES)


@pytest.mark.slow
def test_the_whole_workflow_ends_with_the_proof(pool):
    (pool / "pool" / "S01" / "withdrawn.csv").write_text("patient_id\nPT-1\n")
    done = run(pool)
    assert done.returncode == 0, done.stdout[-2000:]
    assert find_codes(pool / "results") == []
    proof = pool / "results" / "unreleased" / "withdrawals.csv"
    assert pd.read_csv(proof)["episodes_left_out"].tolist() == [2]
    proof.unlink()
    (pool / "results" / "sites" / "S01" / "old.csv").write_text("episode_id\nEP-2\n")
    failed = run(pool, str(proof))
    assert failed.returncode == 1
    assert not proof.exists()
