"""Two releases between which records, plan and program changed, each so that it moves one answer:
run again with every combination, `./run compare --rerun` says which of them moved which, and leaves
nothing behind."""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest

from pipeline.releases.keep import keep_release
from tests.contract.test_documents import list_tracked
from tests.handed_in import write_delivery
from tests.whole.conftest import ROOT

ANALYSES = ("quality_measures", "recurrence")
# by what moves it, an answer that nothing else moves
PLANTED = {
    "the records": "dix_hallpike_both_sides",
    "the plan": "recurrence_free_upper_day_90",
    "the program": "reassessed_by_day_30",
}
MONTH = "MONTH = 30  # days"


def write_pool(folder: Path, both_sides: int) -> Path:
    """Thirty patients of each of three clinics: so many of ten were tested to both sides on day 0;
    half come back by day 7 and half by day 21, all without vertigo; it is back in four of ten on
    day 60, which is after 39 or 53 days."""
    for site in ("S01", "S02", "S03"):
        tables: dict[str, list[dict]] = {
            "episodes": [],
            "examinations": [],
            "treatments": [],
            "followups": [],
        }
        for number in range(30):
            key = {"episode_id": f"EP-{number:04d}"}
            tables["episodes"].append(
                key
                | {
                    "patient_id": f"PT-{number:04d}",
                    "age_years": 40 + number * 7 % 31,
                    "sex": "female",
                }
                | {"index_year": 2024, "cause": "idiopathic", "recorded_canal": "posterior"}
                | {"recorded_side": "right", "recorded_arm": "long", "other_diagnosis": "none"}
                | {"recorded_mechanism": "canalolithiasis", "arm_basis": "", "onset_day": -5}
                | {"other_diagnosis_day": ""}
            )
            tests = [(0, "right", True), (7 if number % 2 else 21, "right", False)]
            tests += [(0, "left", False)] if number % 10 < both_sides else []
            tests += [(60, "right", number // 2 % 5 < 2), (120, "right", False)]
            for day, side, seen in tests:
                tables["examinations"].append(
                    key
                    | {"day": day, "examination": 1, "test": "dix_hallpike", "side": side}
                    | {"vertical": "up" if seen else "none", "torsion": side if seen else "none"}
                    | {"horizontal": "none", "duration_s": 20 if seen else ""}
                    | {"vertigo": "moderate" if seen else "none"}
                )
            tables["treatments"].append(
                key
                | {"day": 0, "attempt": 1, "maneuver": "epley", "side": "right"}
                | {"setting": "clinic", "performed_by": "clinician", "completed": "yes"}
                | {"adverse": "none"}
            )
            tables["followups"].append(
                key
                | {"day": 120, "contact": "clinic", "positional_symptoms": "unknown"}
                | {"end_of_followup": "completed"}
            )
        write_delivery(folder, tables, site, "001", usual_confirmation_day=7)
    return folder


def make_release(program: Path, pool: Path, plan: Path, place: Path, number: int) -> Path:
    """What the program estimates, kept as a release; its protection is left out, since so few
    analyses would hide nothing."""
    made = [place / "unreleased" / f"{name}.csv" for name in (*ANALYSES, "fingerprints")]
    command = [sys.executable, "-m", "snakemake", "--snakefile", str(program / "Snakefile")]
    command += ["--cores", "2", *map(str, made)]
    command += ["--config", f"submissions={pool}", f"results={place}", f"plan={plan}"]
    done = subprocess.run(
        command,
        cwd=program.parent,
        text=True,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    for path in made[:-1]:
        shutil.copy(path, place / "estimates" / path.name)
    used = pd.read_csv(made[-1], dtype="string").set_index("name")["value"].to_dict()
    return keep_release(place, [place / "estimates"], {"release": str(number)} | used)


def commit(program: Path, message: str) -> None:
    person = ["-c", "user.name=Nobody", "-c", "user.email=nobody@example.org"]
    for words in (["add", "-A"], [*person, "commit", "-q", "-m", message]):
        subprocess.run(["git", *words], cwd=program, check=True)


@pytest.fixture(scope="module")
def planted(tmp_path_factory):
    """The command that compares two planted releases, its folder, and that of temporary files."""
    place = tmp_path_factory.mktemp("planted")
    program = place / "program"
    for name in list_tracked():
        (program / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, program / name)
    subprocess.run(["git", "init", "-q"], cwd=program, check=True)
    commit(program, "Before")
    pools = [write_pool(place / name, both) for name, both in (("pool_1", 3), ("pool_2", 9))]
    shutil.copytree(ROOT / "config", place / "plan")
    study = place / "plan" / "study.yaml"
    old = study.read_text("utf-8")
    study.write_text(old.replace("recurrence_gap: 14", "recurrence_gap: 60"), "utf-8")
    assert study.read_text("utf-8") != old
    one = make_release(program, pools[0], program / "config", place / "results_1", 1)
    measures = program / "pipeline" / "analyses" / "description" / "quality_measures.py"
    text = measures.read_text("utf-8")
    assert MONTH in text
    measures.write_text(text.replace(MONTH, MONTH.replace("30", "10")), "utf-8")
    commit(program, "After")
    two = make_release(program, pools[1], place / "plan", place / "results_2", 2)
    command = [sys.executable, "-m", "pipeline", "compare", str(one), str(two), "--rerun"]
    command += [str(pools[0]), str(pools[1])]
    command += ["--plans", str(program / "config"), str(place / "plan")]
    return command, program, place


def start(planted, *more: str) -> subprocess.Popen:
    command, program, place = planted
    (place / "temporary").mkdir(exist_ok=True)
    return subprocess.Popen(
        [*command, *more],
        cwd=program,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": str(program), "TMPDIR": str(place / "temporary")},
    )


@pytest.mark.slow
def test_what_was_planted_comes_back_and_nothing_is_left(planted):
    place = planted[2]
    running = start(planted, "--out", str(place / "moved.csv"))
    shown, progress = running.communicate()
    assert running.returncode == 0, progress
    assert "8 of 8: release 1 with " in progress
    assert "does not run" not in progress
    moved = pd.read_csv(place / "moved.csv").set_index("term")
    for cause, term in PLANTED.items():
        assert moved.loc[[term], "moved_by"].tolist() == [cause], moved["moved_by"].to_dict()
    assert (place / "moved.csv").stat().st_mode & 0o077 == 0
    assert "not audited" in shown
    assert list((place / "temporary").iterdir()) == []


@pytest.mark.slow
def test_other_records_are_refused_before_anything_is_compared(planted):
    command, program, place = planted
    swapped = [*command]
    place_of = swapped.index("--rerun") + 1
    swapped[place_of : place_of + 2] = reversed(swapped[place_of : place_of + 2])
    running = start((swapped, program, place))
    _, said = running.communicate()
    assert running.returncode == 1
    assert "not what release 1 was made from: the records differ" in said
    assert list((place / "temporary").iterdir()) == []


@pytest.mark.slow
@pytest.mark.parametrize("asked", [signal.SIGINT, signal.SIGTERM])
def test_stopping_leaves_nothing(planted, asked):
    temporary = planted[2] / "temporary"
    running = start(planted)
    deadline = time.monotonic() + 120
    while not list(temporary.glob("*/results/rows/*")):
        assert running.poll() is None
        assert time.monotonic() < deadline
        time.sleep(0.05)
    assert all(path.stat().st_mode & 0o077 == 0 for path in temporary.iterdir())
    running.send_signal(asked)
    running.communicate(timeout=60)
    assert running.returncode == 130
    assert list(temporary.iterdir()) == []
