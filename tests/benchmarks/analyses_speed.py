"""How long every analysis takes on finished warehouses, each in a process of its own and two at a
time: nothing is asserted, all is shown.

    python -m tests.benchmarks.analyses_speed small/warehouse.duckdb large/warehouse.duckdb

Make a large pool with `python -m synthetic_data --out DIR --episodes 100000 --sites 20` and run the
workflow on it as far as `store`.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from pipeline.analyses.plan import ANALYSES
from pipeline.sources import ROOT
from pipeline.warehouse import open_warehouse


def main() -> None:
    """Time each analysis on each warehouse and print a table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "warehouses", type=Path, nargs="+", help="finished warehouses, the smallest first"
    )
    parser.add_argument(
        "--only", choices=ANALYSES, nargs="+", default=list(ANALYSES), help="some of the analyses"
    )
    arguments = parser.parse_args()
    table = {}
    for path in arguments.warehouses:
        with open_warehouse(path) as warehouse:
            episodes = len(warehouse.read("adjudications"))
        began = time.perf_counter()
        with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(2) as pool:
            seconds = dict(
                pool.map(
                    lambda name, path=path: (name, time_analysis(name, path, Path(folder))),
                    arguments.only,
                )
            )
        table[episodes] = seconds | {"all, two at a time": time.perf_counter() - began}
        print(f"{episodes} episodes done in {time.perf_counter() - began:.0f} s", file=sys.stderr)
    print(f"{'seconds':28}" + "".join(f"{episodes:>10}" for episodes in table))
    for name in (*arguments.only, "all, two at a time"):
        print(f"{name:28}" + "".join(f"{seconds[name]:10.1f}" for seconds in table.values()))


def time_analysis(name: str, warehouse: Path, folder: Path) -> float:
    """Seconds from the start of the process to the file of estimates."""
    command = [
        sys.executable,
        "-m",
        "pipeline.steps.analyse",
        "--plan",
        str(ROOT / "config"),
        "--warehouse",
        str(warehouse),
    ]
    env = os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}  # as in the workflow
    began = time.perf_counter()
    subprocess.run([*command, "--out", str(folder), name], check=True, cwd=ROOT, env=env)
    return time.perf_counter() - began


if __name__ == "__main__":
    main()
