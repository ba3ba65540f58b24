"""A check runs beside the page, can be stopped, and leaves nothing behind."""

import os
import signal
import time
from multiprocessing import Pipe

import pytest

from pipeline.desk import job as jobs
from pipeline.desk.examine import HANDED, tell
from pipeline.desk.job import Job
from tests.conftest import ROOT
from tests.desk_client import MAIL, list_copies, make_books

PLAN = ROOT / "config"


@pytest.fixture(scope="module")
def books(plan):
    return make_books(plan)


def prepare(place, files: dict[str, bytes], earlier: dict[str, bytes] | None = None) -> Job:
    job = Job(place)
    for brought, before in ((files, False), (earlier or {}, True)):
        for name, content in brought.items():
            job.name_file(name, earlier=before).write_bytes(content)
    return job


def wait(job: Job, *stages: str, seconds: float = 300) -> None:
    begun = time.monotonic()
    while job.stage not in stages:
        assert time.monotonic() - begun < seconds, job.stage
        time.sleep(0.05)


def test_a_good_workbook_can_be_saved_as_it_was_handed_in(books, tmp_path):
    job = prepare(tmp_path, {"mine.xlsx": books["good"]})
    job.begin(PLAN)
    wait(job, jobs.OVER)
    assert job.verdict["state"] == "fine"
    assert job.files == {"mine.xlsx": books["good"]}
    assert job.marked is None
    assert list_copies(tmp_path) == []


def test_a_faulty_one_is_marked_and_compared(books, tmp_path):
    job = prepare(tmp_path, {"mine.xlsx": books["later"]}, {"before.xlsx": books["good"]})
    job.begin(PLAN)
    wait(job, jobs.OVER)
    assert job.verdict["changes"]["previous"] == "001"
    job = prepare(tmp_path, {"mine.xlsx": books["slips"]})
    job.begin(PLAN)
    wait(job, jobs.OVER)
    assert job.marked.startswith(b"PK")
    assert list_copies(tmp_path) == []


def test_an_identifier_is_told_and_not_kept(books, tmp_path, capfd):
    job = prepare(tmp_path, {f"{MAIL}.xlsx": books["identified"]})
    job.begin(PLAN)
    wait(job, jobs.OVER)
    assert job.verdict["state"] == "refused"
    assert job.files == {}
    assert MAIL not in repr(job.verdict) + job.says + "".join(capfd.readouterr())


@pytest.mark.parametrize(
    "files", [{"letter.pdf": b"%PDF"}, {"notes.txt.bak": b"x", "photo.jpg": b"x"}]
)
def test_what_is_no_table_is_nothing_to_check(files, tmp_path):
    job = prepare(tmp_path, files)
    job.begin(PLAN)
    wait(job, jobs.NOTHING)
    assert list_copies(tmp_path) == []


@pytest.mark.parametrize("content", [b"", b"no workbook", b"PK\x03\x04" + b"\0" * 100])
def test_a_broken_workbook_is_refused_and_no_fault(content, tmp_path):
    job = prepare(tmp_path, {"mine.xlsx": content})
    job.begin(PLAN)
    wait(job, jobs.OVER)
    assert job.verdict["state"] == "refused"


def test_it_can_be_stopped_at_once(books, tmp_path):
    job = prepare(tmp_path, {"mine.xlsx": books["good"]})
    job.begin(PLAN)
    process = job._process
    job.stop()
    assert job.stage == jobs.STOPPED
    assert not process.is_alive()
    assert list_copies(tmp_path) == []


def test_what_was_not_begun_can_be_stopped(books, tmp_path):
    job = prepare(tmp_path, {"mine.xlsx": books["good"]})
    job.stop()
    assert job.stage == jobs.STOPPED
    assert list_copies(tmp_path) == []
    job.begin(PLAN)
    assert job.stage == jobs.STOPPED


def test_without_a_file_nothing_begins(tmp_path):
    job = Job(tmp_path)
    job.begin(PLAN)
    assert job.stage == jobs.WAITING


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signal")
def test_a_process_that_dies_is_told_as_a_failure(books, tmp_path):
    job = prepare(tmp_path, {"mine.xlsx": books["good"]})
    job.begin(PLAN)
    os.kill(job._process.pid, signal.SIGKILL)
    wait(job, jobs.FAILED)
    assert job.verdict is None
    assert list_copies(tmp_path) == []


def test_a_plan_that_is_not_there_is_told_as_a_failure(books, tmp_path, capfd):
    job = prepare(tmp_path, {"mine.xlsx": books["good"]})
    job.begin(tmp_path / "no plan")
    wait(job, jobs.FAILED)
    assert capfd.readouterr().err


def test_progress_is_told_before_the_verdict(books, tmp_path):
    ours, theirs = Pipe(duplex=False)
    (tmp_path / HANDED).mkdir()
    (tmp_path / HANDED / "mine.xlsx").write_bytes(books["slips"])
    tell(theirs, tmp_path, PLAN)
    theirs.close()
    heard = []
    while True:
        try:
            heard.append(ours.recv())
        except EOFError:
            break
    kinds = [kind for kind, _ in heard]
    assert kinds == ["says"] * (len(heard) - 3) + ["words", "verdict", "marked"]
    assert len(heard) > 5
