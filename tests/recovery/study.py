"""The study itself: pools by number, their answers one line a pool and analysis,
so that a stop loses one pool at most."""

import json
import os
import subprocess
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import get_context
from pathlib import Path

from schemas.study import Config, read_config
from tests.recovery.adapters import ADAPTERS
from tests.recovery.frames import draw_pool
from tests.recovery.scenarios import SCENARIOS, SEED

ROOT = Path(__file__).parent.parent.parent
ANSWERS = "answers.jsonl"
CODE = ("pipeline", "schemas", "config", "tests/recovery")
DIGITS = 6  # significant ones that are kept of each number
Job = tuple[int, str]  # number of the pool, name of the analysis


@cache
def read_plan() -> Config:
    """The plan of the project with the study's own seed, and only the strata that are asked for."""
    plan = read_config(ROOT / "config")
    curves = plan.study.curves.model_copy(update={"strata": (("canal",),)})
    second_line = plan.study.second_line.model_copy(update={"variants": ("lateral_geotropic",)})
    parts = {"seed": SEED, "curves": curves, "second_line": second_line}
    return plan.model_copy(update={"study": plan.study.model_copy(update=parts)})


def answer_pool(job: Job) -> dict:
    """The answers of one analysis on one pool; the scenarios take turns."""
    number, analysis = job
    config, scenario = read_plan(), SCENARIOS[number % len(SCENARIOS)]
    pool = draw_pool(scenario, number, config.study.resolution.recurrence_gap)
    answers = [
        [answer.term, answer.stance, *map(round_number, answer[2:5]), answer.status]
        for answer in ADAPTERS[analysis](pool, config)
    ]
    return {"pool": number, "scenario": scenario.name, "analysis": analysis, "answers": answers}


def round_number(value: float) -> float | None:
    """The number to DIGITS significant digits; None where there is none or an infinite one."""
    return float(f"{value:.{DIGITS}g}") if abs(value) < float("inf") else None


def run_study(pools: int, analyses: list[str], out: Path, processes: int) -> None:
    """Answer what is missing of the first `pools` pools and append it to ANSWERS in `out`,
    in order of pools."""
    out.mkdir(parents=True, exist_ok=True)
    path = out / ANSWERS
    done = {(line["pool"], line["analysis"]) for line in read_answers(path)}
    jobs = [
        job
        for number in range(pools)
        for job in ((number, name) for name in analyses)
        if job not in done
    ]
    began, commit = time.monotonic(), name_commit()
    # of the new processes: as in the workflow
    os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    with (
        ProcessPoolExecutor(processes, get_context("spawn")) as workers,
        path.open("a", encoding="utf-8") as file,
    ):
        for count, line in enumerate(workers.map(answer_pool, jobs, chunksize=1), start=1):
            file.write(json.dumps(line | {"commit": commit}) + "\n")
            file.flush()
            if count % 20 == 0 or count == len(jobs):
                left = (time.monotonic() - began) / count * (len(jobs) - count)
                print(
                    f"\r{count} of {len(jobs)}, about {left / 60:.0f} min left", end="", flush=True
                )
    print(f"\n{len(done)} were there, {len(jobs)} added to {path}")


def name_commit() -> str:
    """The commit that is checked out, with a plus where code or plan differ from it."""
    outputs = [
        subprocess.run(
            ["git", *command], cwd=ROOT, capture_output=True, text=True, check=True
        ).stdout.strip()
        for command in (["rev-parse", "--short", "HEAD"], ["status", "--porcelain", "--", *CODE])
    ]
    return outputs[0] + ("+" if outputs[1] else "")


def read_answers(path: Path) -> Iterator[dict]:
    """The lines of an answers file. A last line that a stop cut short is cut off the file."""
    if not path.exists():
        return
    text = path.read_text("utf-8")
    whole = text[: text.rfind("\n") + 1]
    if whole != text:
        path.write_text(whole, "utf-8")
    yield from map(json.loads, whole.splitlines())
