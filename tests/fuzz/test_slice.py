"""A fixed slice of the broken deliveries, and that the study finds what it looks for:
`python -m tests.fuzz` tries all of them."""

from pathlib import Path

import pytest

from pipeline.intake.receive import receive_delivery
from tests.fuzz import trial as trial_module
from tests.fuzz.case import KINDS, SITE, write_case
from tests.fuzz.trial import find_astray, try_case

CASES, WHOLE_EVERY = 60, 10
MOST_MEMORY = 1_000  # MB


@pytest.fixture(scope="module")
def trials(plan, tmp_path_factory):
    """The first deliveries of the study."""
    root = tmp_path_factory.mktemp("fuzz")
    return [
        try_case(write_case(seed, root / str(seed)), plan, whole=seed % WHOLE_EVERY == 0)
        for seed in range(CASES)
    ]


def test_whatever_comes_ends_in_a_verdict_and_every_row_has_a_place(trials):
    assert [(trial.case.seed, trial.faults) for trial in trials if trial.faults] == []


def test_the_slice_reaches_every_end_by_every_kind(trials):
    assert {trial.case.kind for trial in trials} == set(KINDS)
    assert {"refused", "set aside"} <= {trial.status for trial in trials}
    assert sum(trial.case.folder is None for trial in trials) < CASES / 6


def test_no_delivery_of_this_size_takes_much(trials):
    assert trial_module.find_peak() < MOST_MEMORY


def test_the_same_seed_breaks_the_same_delivery_alike(tmp_path):
    for seed in (1, 2):
        one, other = (write_case(seed, tmp_path / name).folder for name in ("one", "other"))
        files = [sorted(path.read_bytes() for path in folder.iterdir()) for folder in (one, other)]
        assert files[0] == files[1]


def test_a_fault_and_a_check_that_judges_otherwise_are_found(plan, tmp_path, monkeypatch):
    case = write_case(1, tmp_path)
    monkeypatch.setattr(trial_module, "run_check", lambda folder, plan: (0, "Traceback"))
    faults = try_case(case, plan, whole=True).faults
    assert faults == ["workflow: refused, check: exit code 0", "check: a traceback was printed"]

    def fail(*_: object) -> None:
        raise IndexError

    monkeypatch.setattr(trial_module, "receive_delivery", fail)
    assert "workflow: IndexError" in try_case(case, plan, whole=False).faults[0]


def test_a_row_without_a_place_is_found(plan, tmp_path):
    folder = Path(tmp_path, SITE, "001")
    clean = write_case(0, tmp_path)
    assert clean.folder == folder
    tables = receive_delivery(folder, plan).tables
    assert find_astray(tables) == []
    counts = tables["row_counts"].assign(rows_in=tables["row_counts"]["rows_in"] + 1)
    assert len(find_astray(tables | {"row_counts": counts})) == len(counts)
