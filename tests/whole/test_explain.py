"""One stored episode explained in a terminal: every test, what it meets and does not,
the verdict and its sources."""

import os
import re
import subprocess
import sys

import duckdb
import pytest

from tests.whole.conftest import ROOT


def explain(directory, *arguments: str) -> subprocess.CompletedProcess:
    command = [
        sys.executable,
        "-m",
        "pipeline",
        "explain",
        "--results",
        str(directory / "results"),
        *arguments,
    ]
    return subprocess.run(
        command,
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        check=False,
    )


@pytest.fixture(scope="module")
def chosen(pool_run):
    """One episode of each verdict, with what the warehouse says of it."""
    with duckdb.connect(str(pool_run[0] / "results" / "warehouse.duckdb"), read_only=True) as store:
        rows = store.execute(
            """SELECT "positional", site, episode_id, criteria, reasons_against FROM adjudication
               QUALIFY row_number()
                       OVER (PARTITION BY "positional" ORDER BY site, episode_id) = 1"""
        ).fetchall()
    return {verdict: rest for verdict, *rest in rows}


@pytest.mark.parametrize("verdict", ["yes", "probable_non_positional", "undetermined"])
def test_every_test_and_reason_is_told_with_its_source(pool_run, chosen, plan, verdict):
    site, episode, criteria, against = chosen[verdict]
    done = explain(pool_run[0], site, episode)
    assert done.returncode == 0, done.stderr
    with duckdb.connect(str(pool_run[0] / "results" / "warehouse.duckdb"), read_only=True) as store:
        tests = store.execute(
            "SELECT count(*) FROM finding WHERE site = ? AND episode_id = ?", [site, episode]
        ).fetchone()[0]
    assert len(re.findall(r"day -?\d+, examination \d+(?: \(\w+\))?:", done.stdout)) == tests
    text = " ".join(done.stdout.split())
    rules = plan.criteria.criteria | plan.criteria.flags | plan.criteria.other_causes
    for name in [*criteria.split(), *against.split()]:
        assert name in text
        if name in rules:
            assert rules[name].source in text


def test_an_episode_that_is_not_there_gets_a_sentence(pool_run):
    done = explain(pool_run[0], "S01", "EP-NONE")
    assert done.returncode != 0
    assert "Traceback" not in done.stderr
    assert "no current delivery of S01" in done.stderr


def test_results_that_are_not_there_get_a_sentence(tmp_path):
    done = explain(tmp_path, "S01", "EP-1")
    assert done.returncode != 0
    assert "run the workflow first" in done.stderr
