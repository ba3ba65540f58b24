"""A sample of the corpus on the intake as it is: `python -m tests.corpus` tries all of it."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
CASES = 60


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory) -> list[dict]:
    """How a sample from all groups of cases went, as `tests.corpus.judge` describes it."""
    out = tmp_path_factory.mktemp("corpus") / "outcomes.jsonl"
    words = ["--sample", str(CASES), "--check-every", "20", "--out", str(out)]
    subprocess.run(
        [sys.executable, "-m", "tests.corpus", *words], cwd=ROOT, check=True, capture_output=True
    )
    return [json.loads(line) for line in out.read_text("utf-8").splitlines()]


def test_every_case_of_the_sample_was_tried(outcomes):
    assert len(outcomes) >= CASES
    assert {outcome["kind"] for outcome in outcomes} == {"identifiers", "clean", "messy", "first"}
    assert {"refused", "accepted"} <= {outcome["status"] for outcome in outcomes}


def test_no_case_ends_in_a_traceback(outcomes):
    assert [outcome["name"] for outcome in outcomes if outcome["crashed"]] == []


def test_no_planted_value_is_stored_or_quoted(outcomes):
    assert [(outcome["name"], outcome["found"]) for outcome in outcomes if outcome["found"]] == []
