"""What runs again when one thing changed, in a finished pool of forty clinics, by the number of
jobs of each rule.

Rules, inputs, seals and plan are the workflow's own; its steps are replaced by one that leaves an
empty file for each output, since what runs again does not hang on what the files hold. What is
expected is worked out here from what each step is made of, not from what was seen to run.
"""

import re
import shutil
from pathlib import Path

import pytest

from tests.contract.test_documents import list_tracked
from tests.whole.conftest import ROOT, run_workflow

STEP = """
import json, sys
from pathlib import Path
from pipeline.results import sealing
seal = Path(sys.argv[sys.argv.index("--seal") + 1])
outputs, _ = json.loads((seal.parent / "rules.json").read_text("utf-8"))[seal.stem]
with sealing(seal):
    for output in map(Path, outputs):
        file = output if output.suffix else output / "figure.svg"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text("")
"""
CLINICS = [f"S{number:02d}" for number in range(1, 41)]
# small clinics are taken in five at a time, by their number
BATCHES = {f"intake_{k}": [c for c in CLINICS if int(c[1:]) // 5 == k] for k in range(9)}
FOLDERS = sorted(
    path.parent.name for path in (ROOT / "pipeline" / "analyses").glob("*/__init__.py")
)
# All answers are pooled, so that whatever changes in the store may change each of them; small
# groups are hidden, and pages written, of all answers together.
OF_THE_STORE = [
    "fingerprint",
    *(f"analyse_{folder}" for folder in FOLDERS),
    "disclose",
    "report",
    "technical",
    "site_pages",
    "keep",
    "summary",
    "all",
]


class Pool:
    """A finished run: a folder with its pool, plan, results and what Snakemake remembers."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.program = folder / "program"

    def run(self, *arguments: str) -> str:
        settings = {"submissions": "pool", "plan": "plan", "results": "results"}
        done = run_workflow(self.folder, *arguments, program=self.program, **settings)
        assert done.returncode == 0, done.stdout[-3000:]
        return done.stdout

    def list_jobs(self) -> list[str]:
        """The jobs of a dry run, each by its rule as often as it would run."""
        table = re.search(r"^job +count\n-.*\n((?:.+\n)+?)total", self.run("--dry-run"), re.M)
        counts = (line.split() for line in table[1].splitlines()) if table else ()
        return sorted(name for name, count in counts for _ in range(int(count)))

    def deliver(self, site: str, number: str) -> None:
        place = self.folder / "pool" / site / number
        place.mkdir(parents=True)
        (place / "episodes.csv").write_text(f"{site} {number}")

    def replace(self, name: str, old: str, new: str) -> None:
        path = self.folder / "plan" / name
        text = path.read_text("utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), "utf-8")


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    pool = Pool(tmp_path_factory.mktemp("forty"))
    for name in list_tracked():
        if name.split("/")[0] not in ("docs", "tests"):
            (pool.program / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, pool.program / name)
    for step in (pool.program / "pipeline" / "steps").glob("[!_]*.py"):
        step.write_text(STEP, "utf-8")
    shutil.copytree(ROOT / "config", pool.folder / "plan")
    for site in CLINICS:
        pool.deliver(site, "001")
    pool.run()
    return pool


@pytest.fixture
def pool(finished, tmp_path):
    """A copy of the finished run that a test may change; the program stays where it is."""
    for part in ("pool", "plan", "results", ".snakemake"):
        shutil.copytree(finished.folder / part, tmp_path / part, symlinks=True)
    copy = Pool(tmp_path)
    copy.program = finished.program
    return copy


def test_nothing_runs_where_nothing_changed(pool):
    assert pool.list_jobs() == []


def test_a_new_delivery_reruns_its_intake_and_what_is_made_of_the_store(pool):
    pool.deliver("S17", "002")
    (batch,) = [name for name, sites in BATCHES.items() if "S17" in sites]
    assert pool.list_jobs() == sorted([batch, "store", *OF_THE_STORE])
    kept = {
        path: path.stat().st_mtime_ns
        for path in (pool.folder / "results").glob("*/S*/001/*")
        if path.parent.parent.name not in BATCHES[batch]
    }
    assert len(kept) > 300
    pool.run()
    assert {path: path.stat().st_mtime_ns for path in kept} == kept
    assert (pool.folder / "results" / "intake" / "S17" / "002" / "report.html").exists()
    assert pool.list_jobs() == []


def test_a_list_of_those_who_withdrew_is_as_a_new_delivery_and_is_searched_for(pool):
    (pool.folder / "pool" / "S40" / "withdrawn.csv").write_text("patient_id\n")
    assert pool.list_jobs() == sorted(["intake_8", "store", "withdrawals", *OF_THE_STORE])


def test_own_names_of_a_site_rerun_its_intake(pool):
    (pool.folder / "plan" / "sites" / "S22.yaml").write_text("columns: {}\n")
    assert pool.list_jobs() == sorted(["intake_4", "store", *OF_THE_STORE])


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("study.yaml", "horizon_day: ", "horizon_day: 1"),
        ("published.yaml", "day: 30", "day: 31"),
    ],
)
def test_what_only_analyses_read_of_the_plan_takes_no_record_in_and_stores_none(
    pool, name, old, new
):
    pool.replace(name, old, new)
    assert pool.list_jobs() == sorted(OF_THE_STORE)


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("study.yaml", "recurrence_gap: ", "recurrence_gap: 1"),
        ("criteria.yaml", "borderline_to_s: 7", "borderline_to_s: 8"),
    ],
)
def test_what_examinations_mean_is_decided_anew_and_no_record_taken_in(pool, name, old, new):
    pool.replace(name, old, new)
    assert pool.list_jobs() == sorted(["store", *OF_THE_STORE])


def test_a_change_of_a_maneuver_may_concern_any_delivery(pool):
    pool.replace("maneuvers.yaml", "hold_most_s: 60", "hold_most_s: 61")
    assert pool.list_jobs() == sorted([*BATCHES, "store", *OF_THE_STORE])
