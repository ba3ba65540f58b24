"""What is run again, of which release each part is taken, and what is refused.
tests/whole/test_compare_rerun.py runs it."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pipeline.releases import rerun
from pipeline.releases.compare import CAUSES
from pipeline.releases.package import Package
from pipeline.releases.rerun import (
    NotTheSame,
    Source,
    list_analyses,
    mix_sources,
    require_same,
    rerun_all,
    stop,
    stopping_at_signals,
)
from tests.unit.releases.test_compare import build

FILES = ("estimates/recurrence.csv", "estimates/planted_answers.csv", "reports/committee.pdf")


def make_source(number: int) -> Source:
    made_from = {"release": str(number)} | {cause: f"{cause} {number}" for cause in CAUSES}
    hashes = dict.fromkeys([*FILES, f"estimates/only_in_{number}.csv"], "")
    return Source(
        Package(Path(f"release/{number}"), made_from, hashes),
        *(Path(f"{cause}_{number}") for cause in CAUSES),
    )


SOURCES = make_source(1), make_source(2)


@pytest.fixture
def runs(monkeypatch, tmp_path):
    """The runs that were asked for: each one's source and targets. A program refuses the plan of
    the other release; a run says that it is made from what was named."""
    asked = []

    def run_workflow(source, results, targets):
        asked.append((source, [Path(target).stem for target in targets]))
        (results / "unreleased").mkdir(parents=True, exist_ok=True)
        values = [f"{cause},{getattr(source, cause).name.replace('_', ' ')}" for cause in CAUSES]
        for target in targets:
            build(("all", 0.5, 0.4, 0.6, "ok")).to_csv(target, index=False)
        (results / rerun.MADE_FROM).write_text("\n".join(["name,value", *values]), "utf-8")
        apart = source.plan.name[-1] != source.code.name[-1]
        return "The run said: no" if apart else ""

    monkeypatch.setattr(rerun, "run_workflow", run_workflow)
    return asked


def test_every_combination_is_run_once_with_what_its_program_knows(runs, tmp_path):
    said = []
    touched = {"recurrence", "planted_answers", "only_in_2"}
    reruns = rerun_all(SOURCES, ("deliveries", "plan", "code"), touched, tmp_path, said.append)
    assert [targets for _, targets in runs[:2]] == [["fingerprints"], ["fingerprints"]]
    made = {
        tuple(getattr(source, cause).name[-1] for cause in CAUSES): targets
        for source, targets in runs[2:]
    }
    assert len(made) == 8
    assert made["1", "1", "1"] == ["recurrence"]
    assert made["1", "1", "2"] == ["only_in_2", "recurrence"]
    missing = {changes for changes, rows in reruns.items() if rows is None}
    assert missing == {changes for changes in reruns if len(changes & {"plan", "code"}) == 1}
    assert said[-1].startswith("8 of 8: release 1 with the plan, the program of release 2: ")
    assert sum("does not run" in line for line in said) == 4


def test_what_does_not_differ_is_not_changed(runs, tmp_path):
    later = Source(SOURCES[1].package, SOURCES[1].deliveries, SOURCES[0].plan, SOURCES[0].code)
    mixed = [mix_sources((SOURCES[0], later), frozenset({"deliveries"}))]
    assert [(source.plan, source.code) for source in mixed] == [(SOURCES[0].plan, SOURCES[0].code)]
    assert mixed[0].deliveries == later.deliveries


def test_a_release_that_cannot_be_made_again_is_told_before_the_others_are_waited_for(
    runs, tmp_path
):
    wrong = Source(SOURCES[1].package, SOURCES[1].deliveries, SOURCES[0].plan, SOURCES[1].code)
    with pytest.raises(NotTheSame, match="Release 2 cannot be made again here"):
        rerun_all((SOURCES[0], wrong), tuple(CAUSES), {"recurrence"}, tmp_path, lambda _: None)
    assert len(runs) == 2


@pytest.mark.parametrize("cause", CAUSES)
def test_what_a_release_was_not_made_from_is_refused(cause):
    package = SOURCES[0].package
    require_same(package, package.made_from | {"pandas": "other"})
    with pytest.raises(NotTheSame, match=f"Different: {CAUSES[cause]}. Nothing"):
        require_same(package, package.made_from | {cause: "other"})


def test_each_part_is_of_the_release_that_is_asked_for():
    mixed = mix_sources(SOURCES, frozenset({"plan"}))
    assert (mixed.deliveries, mixed.plan, mixed.code) == (
        SOURCES[0].deliveries,
        SOURCES[1].plan,
        SOURCES[0].code,
    )


def test_what_needs_a_planted_truth_is_not_run_again():
    assert list_analyses(SOURCES[0].package) == {"recurrence", "only_in_1"}


def test_a_run_that_is_stopped_ends_with_all_that_it_started(tmp_path):
    """A run that does not end by itself when it is asked to."""
    script = "import signal, subprocess, sys, time\nsignal.signal(signal.SIGINT, signal.SIG_IGN)\n"
    script += "child = subprocess.Popen(['sleep', '60'])\nprint(child.pid, flush=True)\n"
    running = subprocess.Popen(
        [sys.executable, "-c", f"{script}time.sleep(60)"],
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    child = int(running.stdout.readline())
    stop(running, patience=0.1)
    assert running.returncode == -signal.SIGKILL
    deadline = time.monotonic() + 10
    while is_running(child):
        assert time.monotonic() < deadline
        time.sleep(0.05)


def is_running(process: int) -> bool:
    """Whether a process is there and no more than a remnant that nobody has waited for."""
    shown = subprocess.run(
        ["ps", "-o", "stat=", "-p", str(process)], capture_output=True, text=True, check=False
    ).stdout.strip()
    return bool(shown) and not shown.startswith("Z")


def test_being_asked_to_end_is_met_as_an_interrupt():
    before = signal.getsignal(signal.SIGTERM)
    with pytest.raises(KeyboardInterrupt), stopping_at_signals():
        signal.raise_signal(signal.SIGTERM)
    assert signal.getsignal(signal.SIGTERM) == before
