"""Faults of files, disks and machines, on a pool of one small site from its deliveries to the
store: each ends in a sentence or is mended by the next run."""

import fcntl
import os
import shutil
import signal
import stat
import subprocess
import time

import duckdb
import pandas as pd
import pytest

from tests.handed_in import write_delivery
from tests.unit.intake.conftest import plain_tables
from tests.whole.conftest import command_of, run_workflow

pytestmark = pytest.mark.skipif(os.name == "nt", reason="rights and locks are of another kind")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A pool and its results up to the store."""
    directory = tmp_path_factory.mktemp("faults")
    tables = {name: rows for name, rows in plain_tables().items() if name != "submission"}
    write_delivery(directory / "pool", tables, "S01", "001", last_year=2025)
    done = run(directory)
    assert done.returncode == 0, done.stdout[-2000:]
    return directory


@pytest.fixture
def pool(made, tmp_path):
    """A copy of it, with the times of its files."""
    shutil.copytree(made, tmp_path / "a", symlinks=True)
    return tmp_path / "a"


def run(directory, *arguments: str, from_folder=None):
    return run_workflow(
        from_folder or directory,
        *(arguments or ("--until", "store")),
        submissions=directory / "pool",
        results=directory / "results",
    )


def count_episodes(directory) -> int:
    with duckdb.connect(str(directory / "results" / "warehouse.duckdb"), read_only=True) as store:
        return store.execute("SELECT count(*) FROM episode").fetchone()[0]


def test_records_are_their_owners_alone_and_what_may_leave_is_not(pool):
    results = pool / "results"
    for path in (results, *results.rglob("*")):
        part = (*path.relative_to(results).parts, "")[0]
        mode = stat.S_IMODE(path.stat().st_mode)
        if part in ("", "estimates", "reports", "release"):
            assert mode & 0o044 == 0o044, path
        else:
            assert not mode & 0o077, path


def test_a_second_run_has_nothing_to_do_not_even_from_another_folder(pool, tmp_path):
    files = [path for path in (pool / "results" / "rows").rglob("*") if path.is_file()]
    files.append(pool / "results" / "warehouse.duckdb")
    before = [path.stat().st_mtime_ns for path in files]
    for folder in (pool, tmp_path):
        assert run(pool, from_folder=folder).returncode == 0
        assert [path.stat().st_mtime_ns for path in files] == before


@pytest.mark.parametrize("elsewhere", [False, True], ids=["here", "from another folder"])
def test_a_list_of_withdrawals_that_is_older_than_what_it_replaces_is_noticed(
    pool, tmp_path, elsewhere
):
    before = count_episodes(pool)
    listed = pool / "pool" / "S01" / "withdrawn.csv"
    listed.write_text("patient_id\nPT-1\n")
    os.utime(listed, (1_000_000_000, 1_000_000_000))
    done = run(pool, from_folder=tmp_path if elsewhere else None)
    assert done.returncode == 0, done.stdout[-2000:]
    assert count_episodes(pool) < before


@pytest.mark.parametrize("harm", ["cut off", "gone"])
@pytest.mark.parametrize("name", ["rows/S01/001/episodes.parquet", "warehouse.duckdb"])
def test_a_file_that_was_harmed_is_named_and_made_anew(pool, name, harm):
    path = pool / "results" / name
    when = path.stat().st_mtime_ns
    if harm == "gone":
        path.unlink()
    else:
        path.write_bytes(path.read_bytes()[:300])
        os.utime(path, ns=(when, when))  # nobody would see it by its time
    done = run(pool)
    assert done.returncode == 0, done.stdout[-2000:]
    assert (f"{path} was changed or damaged" in done.stdout) == (harm == "cut off")
    assert len(pd.read_parquet(pool / "results" / "rows/S01/001/episodes.parquet"))
    assert count_episodes(pool) > 0


def test_two_runs_do_not_write_to_the_same_results(pool, tmp_path):
    with (pool / "results" / "seals" / "run.lock").open("a") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        second = run(pool, from_folder=tmp_path)
        assert second.returncode != 0
        assert "Another run is writing to results=" in second.stdout
        assert "since 20" in second.stdout
        assert run(pool, "--dry-run").returncode == 0  # which only looks
    assert run(pool, from_folder=tmp_path).returncode == 0


def test_after_a_run_was_killed_the_next_one_goes_on_by_itself(pool):
    results = pool / "results"
    (results / "warehouse.duckdb").unlink()
    running = subprocess.Popen(
        command_of(
            *("--directory", str(pool), "--until", "store"),
            submissions=pool / "pool",
            results=results,
        ),
        start_new_session=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    deadline = time.monotonic() + 60
    while not (results / "warehouse.duckdb.building").exists():
        assert running.poll() is None, "the store ended before it was caught"
        assert time.monotonic() < deadline
        time.sleep(0.01)
    os.killpg(running.pid, signal.SIGKILL)
    running.wait()
    after = run(pool)
    assert after.returncode == 0, after.stdout[-2000:]
    assert count_episodes(pool) > 0


def test_results_that_take_no_files_are_a_sentence(made, tmp_path):
    (tmp_path / "file").write_text("")
    done = run_workflow(tmp_path, submissions=made / "pool", results=tmp_path / "file" / "results")
    assert done.returncode != 0
    assert "Nothing can be written to results=" in done.stdout
    assert "Traceback" not in done.stdout


def test_paths_with_signs_of_many_kinds(made, tmp_path):
    strange = tmp_path / 'O\'Neill "ä" & (b) $HOME; 100 %'
    shutil.copytree(made / "pool", strange / "pool")
    done = run(strange)
    assert done.returncode == 0, done.stdout[-2000:]
    assert count_episodes(strange) > 0
    braces = run_workflow(tmp_path, submissions=made / "pool", results=tmp_path / "{a}")
    assert braces.returncode != 0
    assert "has braces" in braces.stdout
