"""What a run costs as the pool grows: seconds, processor seconds and memory of every step, with the
floor that reading the same files would cost in any case.

    python -m tests.benchmarks.workflow --sizes 1000 10000 --pools DIR

Each pool is made once in DIR and kept there. One core, so that steps do not disturb each other.
Peak memory and processor seconds are the kernel's own, asked for 20 times a second until a step
ends. Nothing is asserted: all is shown.
"""

import argparse
import math
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import duckdb
import pandas as pd
import psutil

from pipeline.analyses.plan import module_of
from pipeline.sources import ROOT
from synthetic_data.pool import write_pool

SITES, SEED = 40, 7
EVERY_SECONDS = 0.05
MEGABYTE = 2**20
STEP = "pipeline.steps."
COMMAND = (
    "-m",
    "snakemake",
    "--snakefile",
    str(ROOT / "Snakefile"),
    "--cores",
    "1",
    "--quiet",
    "all",
)
PACKAGES = ("duckdb", "pandas", "snakemake", "statsmodels")


@dataclass
class Cost:
    """What a step cost."""

    seconds: float = 0.0  # from its start to its end; several processes added up
    processor_seconds: float = 0.0
    peak_mb: float = 0.0  # of its largest process, resident


def main() -> None:
    """Run the workflow on a pool of each size and print one table."""
    arguments = read_arguments()
    costs = {}
    for episodes in sorted(arguments.sizes):
        pool = make_pool(arguments.pools, episodes)
        costs[episodes] = measure_floors(pool) | measure_run(pool)
        print(f"{episodes} episodes: {costs[episodes]['whole run'].seconds:.0f} s", file=sys.stderr)
    print(describe_machine())
    print(write_table(costs))


def read_arguments() -> argparse.Namespace:
    """What the command line asks for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--sizes", type=int, nargs="+", default=[1000, 10_000], help="episodes of each pool"
    )
    parser.add_argument(
        "--pools", type=Path, required=True, metavar="DIR", help="where pools are made and kept"
    )
    return parser.parse_args()


def make_pool(folder: Path, episodes: int) -> Path:
    """The invented pool of a size: that of an earlier call, if there was one."""
    made = folder / f"{episodes}_episodes"
    if not made.exists():
        with tempfile.TemporaryDirectory(dir=folder) as unfinished:
            write_pool(Path(unfinished) / "made", episodes, SITES, SEED)
            (Path(unfinished) / "made").rename(made)
    return made / "pool"


def measure_floors(pool: Path) -> dict[str, Cost]:
    """What it takes to parse every .csv of a pool as text, by two libraries, and to do no more."""
    paths = sorted(pool.glob("S*/*/*.csv"))
    return {
        "floor: all .csv by DuckDB": time_call(
            lambda: [
                duckdb.sql(f"SELECT count(*) FROM read_csv('{path}', all_varchar=true)").fetchall()
                for path in paths
            ]
        ),
        "floor: all .csv by pandas": time_call(
            lambda: [pd.read_csv(path, sep=None, engine="python", dtype=str) for path in paths]
        ),
    }


def time_call(call: Callable[[], object]) -> Cost:
    """What a call in this process costs, its memory apart."""
    began, used = time.perf_counter(), time.process_time()
    call()
    return Cost(time.perf_counter() - began, time.process_time() - used, math.nan)


def measure_run(pool: Path) -> dict[str, Cost]:
    """What each step of a whole run costs, and the run, and one that finds nothing to do."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, *COMMAND, "--directory", folder, "--config"]
        first, steps = watch([*command, f"submissions={pool}"])
        again, _ = watch([*command, f"submissions={pool}"])
    return steps | {"whole run": first, "nothing to do": again}


def watch(command: list[str]) -> tuple[Cost, dict[str, Cost]]:
    """Run a command; what it cost in all, and each step that it started.

    Raises subprocess.CalledProcessError if it fails.
    """
    began = time.perf_counter()
    run = psutil.Popen(command, env=os.environ | {"PYTHONPATH": ""}, stdout=subprocess.DEVNULL)
    seen: dict[int, tuple[str, Cost]] = {}
    while run.poll() is None:
        for process in (run, *run.children(recursive=True)):
            note(process, seen)
        time.sleep(EVERY_SECONDS)
    if run.returncode:
        raise subprocess.CalledProcessError(run.returncode, command)
    steps: dict[str, Cost] = {}
    for name, cost in seen.values():
        total = steps.setdefault(name, Cost())
        total.seconds += cost.seconds
        total.processor_seconds += cost.processor_seconds
        total.peak_mb = max(total.peak_mb, cost.peak_mb)
    whole = Cost(
        time.perf_counter() - began,
        sum(cost.processor_seconds for cost in steps.values()),
        max(cost.peak_mb for cost in steps.values()),
    )
    return whole, {name: cost for name, cost in steps.items() if name}


def note(process: psutil.Process, seen: dict[int, tuple[str, Cost]]) -> None:
    """Write down what a process has cost up to now; one that has ended keeps its last figures."""
    try:
        with process.oneshot():
            name, used = name_step(process.cmdline()), process.cpu_times()
            cost = Cost(
                time.time() - process.create_time(), used.user + used.system, read_peak(process.pid)
            )
    except (psutil.NoSuchProcess, psutil.ZombieProcess, OSError):
        return
    if cost.peak_mb:
        seen[process.pid] = name, cost


def name_step(words: list[str]) -> str:
    """The step that a process runs; for analyses their question; nothing for other processes."""
    named = [word.removeprefix(STEP) for word in words[:3] if word.startswith(STEP)]
    if named == ["analyse"]:
        return f"analyse {module_of(words[-1]).split('.')[2]}"
    return "".join(named)


def read_peak(process: int) -> float:
    """The greatest resident memory of a process so far, in megabytes; 0 when it is ending."""
    for line in Path(f"/proc/{process}/status").read_text("utf-8").splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) * 1024 / MEGABYTE
    return 0.0


def describe_machine() -> str:
    """One line on where this was measured."""
    packages = ", ".join(f"{name} {version(name)}" for name in PACKAGES)
    return (
        f"{os.cpu_count()} processors, {psutil.virtual_memory().total / 2**30:.0f} GiB, "
        f"{platform.system()}, Python {platform.python_version()}, {packages}\n"
    )


def write_table(costs: dict[int, dict[str, Cost]]) -> str:
    """Steps by size: processor seconds and peak memory, and how the former grow (exponent of the
    number of episodes between the smallest and the largest pool)."""
    sizes = list(costs)
    head = "".join(f" {size:,} episodes |" for size in sizes)
    lines = [f"| step |{head} exponent |", f"|---|{'---|' * (len(sizes) + 1)}"]
    for name in costs[sizes[0]]:
        found = [costs[size].get(name, Cost()) for size in sizes]
        cells = "".join(f" {describe(cost)} |" for cost in found)
        lines.append(f"| {name} |{cells} {grow(sizes, found)} |")
    return "\n".join(lines)


def describe(cost: Cost) -> str:
    """A cell of the table."""
    memory = "" if math.isnan(cost.peak_mb) else f", {cost.peak_mb:.0f} MB"
    return f"{cost.seconds:.1f} s, {cost.processor_seconds:.1f} s of processor{memory}"


def grow(sizes: list[int], found: list[Cost]) -> str:
    """By which power of the number of episodes processor seconds grow."""
    first, last = found[0].processor_seconds, found[-1].processor_seconds
    if len(sizes) < 2 or not first or not last:
        return ""
    return f"{math.log(last / first) / math.log(sizes[-1] / sizes[0]):.2f}"


if __name__ == "__main__":
    main()
