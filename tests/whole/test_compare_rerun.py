"""Two releases between which records, plan and program changed, each so that it moves one answer:
run again with every combination, `./run compare --rerun` says which of them moved which, and leaves
nothing behind.

One run of the workflow for each combination: about 20 s of a processor each.
"""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest

from pipeline.analyses.description import quality_measures
from pipeline.analyses.plan import run_analysis
from pipeline.releases.compare import CAUSES
from pipeline.releases.keep import keep_release
from pipeline.sources import fingerprint_code, fingerprint_files, list_own_files
from pipeline.steps.fingerprint import list_fingerprints
from pipeline.warehouse import open_warehouse
from schemas.study import read_config
from tests.contract.test_documents import list_tracked
from tests.handed_in import write_delivery
from tests.small_warehouse import store_deliveries
from tests.whole.conftest import ROOT

ANALYSES = ("quality_measures", "diagnosis_agreement")
# by what moves it, an answer that nothing else moves
PLANTED = {
    "deliveries": "dix_hallpike_both_sides",
    "plan": "mechanism_agreement",
    "code": "reassessed_by_day_30",
}
# who is tested again after day 10 counts no longer
CHANGE = {"between(1, MONTH)": "between(1, 10)"}
# nystagmus of 20 s is then that of adherent debris
LIMITS = {
    "borderline_from_s: 50": "borderline_from_s: 5",
    "borderline_to_s: 70": "borderline_to_s: 10",
}


def write_pool(folder: Path, both_sides: int) -> Path:
    """Thirty patients of each of three clinics: so many of ten were tested to both sides on day 0;
    half are tested again on day 7 and half on day 21, all without vertigo."""
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
                | {"day": 30, "contact": "clinic", "positional_symptoms": "unknown"}
                | {"end_of_followup": "completed"}
            )
        write_delivery(folder, tables, site, "001", usual_confirmation_day=7)
    return folder


def make_release(pool: Path, plan: Path, code: str, place: Path) -> Path:
    """What the analyses say of a pool, kept as a release with the fingerprint of a program; its
    protection is left out, since so few analyses would hide nothing."""
    (place / "estimates").mkdir(parents=True)
    (place / "release").mkdir()
    config = read_config(plan)
    stored = store_deliveries(sorted(pool.glob("S*/*")), place, config)
    with open_warehouse(stored) as warehouse:
        for name in ANALYSES:
            rows = run_analysis(name, warehouse, config)
            rows.to_csv(place / "estimates" / f"{name}.csv", index=False)
        used = list_fingerprints(warehouse.read("deliveries"), plan)
    made_from = used.set_index("name")["value"].to_dict() | {"code": code}
    number = {"release": place.name}
    return keep_release(place, [place / "estimates"], number | made_from)


def commit(program: Path, message: str) -> None:
    person = ["-c", "user.name=Nobody", "-c", "user.email=nobody@example.org"]
    for words in (["add", "-A"], [*person, "commit", "-q", "-m", message]):
        subprocess.run(["git", *words], cwd=program, check=True)


@pytest.fixture(scope="module", params=[("plan", "code"), tuple(PLANTED)], ids=len)
def planted(request, tmp_path_factory):
    """What changed, the command that compares the two releases, and its folder with that of the
    program."""
    place = tmp_path_factory.mktemp("planted")
    program, plans = place / "program", [place / "plan_1", place / "plan_2"]
    for name in list_tracked():
        (program / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, program / name)
    subprocess.run(["git", "init", "-q"], cwd=program, check=True)
    commit(program, "Before")
    codes = [fingerprint_code()]
    more = 9 if "deliveries" in request.param else 3
    pools = [write_pool(place / name, both) for name, both in (("pool_1", 3), ("pool_2", more))]
    for plan in plans:
        shutil.copytree(ROOT / "config", plan)
    replace(plans[1] / "criteria.yaml", LIMITS)
    measures = Path("pipeline", "analyses", "description", "quality_measures.py")
    replace(program / measures, CHANGE)
    commit(program, "After")
    files = [program / path.relative_to(ROOT) for path in list_own_files()]
    codes.append(fingerprint_files(files, program))
    one = make_release(pools[0], plans[0], codes[0], place / "1")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(quality_measures, "MONTH", 10)  # as the changed program has it
        two = make_release(pools[1], plans[1], codes[1], place / "2")
    command = [sys.executable, "-m", "pipeline", "compare", str(one), str(two)]
    command += ["--rerun", *map(str, pools), "--plans", *map(str, plans)]
    return request.param, command, program, place


def replace(path: Path, changes: dict[str, str]) -> None:
    text = path.read_text("utf-8")
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, "utf-8")


def start(planted, *more: str) -> subprocess.Popen:
    _, command, program, place = planted
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
    causes, _, _, place = planted
    running = start(planted, "--out", str(place / "moved.csv"))
    shown, progress = running.communicate()
    assert running.returncode == 0, progress
    runs = 2 ** len(causes)
    assert f"{runs} of {runs}: release 1 with " in progress
    assert "does not run" not in progress
    told = pd.read_csv(place / "moved.csv").set_index("term")["moved_by"].to_dict()
    expected = {PLANTED[cause]: CAUSES[cause] for cause in causes}
    assert told == expected | {"arm_agreement": CAUSES["plan"]}  # adherent debris is of no arm
    assert (place / "moved.csv").stat().st_mode & 0o077 == 0
    assert "not audited" in shown
    assert list((place / "temporary").iterdir()) == []


@pytest.mark.slow
def test_another_plan_is_refused_before_anything_is_compared(planted):
    causes, command, program, place = planted
    swapped = [*command]
    place_of = swapped.index("--plans") + 1
    swapped[place_of : place_of + 2] = reversed(swapped[place_of : place_of + 2])
    running = start((causes, swapped, program, place))
    _, said = running.communicate()
    assert running.returncode == 1
    assert "not what release 1 was made from. Different: the plan." in said
    assert list((place / "temporary").iterdir()) == []


@pytest.mark.slow
@pytest.mark.parametrize("asked", [signal.SIGINT, signal.SIGTERM])
def test_stopping_leaves_nothing(planted, asked):
    temporary = planted[3] / "temporary"
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
