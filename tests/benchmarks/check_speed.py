"""How long a coordinator waits: the help of every tool, and the check of a site of 5,000 episodes
as .csv files and as a workbook.

Run as: python -m tests.benchmarks.check_speed Times are processor seconds of the whole process,
with its start, the better of two; memory is its peak in MB. The site is an invented one with the
habits of an average clinic (S02 of the demonstration pool).
"""

import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from schemas.site_map import SiteMap
from synthetic_data.pool import SEED, read_plan
from synthetic_data.scenario import Scenario
from synthetic_data.sites import TEN
from synthetic_data.tables import simulate_site
from synthetic_data.write import build_workbook, describe, to_cells, write_delivery

EPISODES, CODE = 5_000, "S42"
MEASURE = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], capture_output=True, check=False)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(used.ru_utime + used.ru_stime, used.ru_maxrss)
"""


def write_site(folder: Path) -> int:
    """The same invented delivery twice, in `folder`/csv and `folder`/workbook;
    the number of its rows."""
    site = replace(TEN[1], code=CODE, form="csv")
    records = simulate_site(SEED, Scenario(), site, EPISODES, read_plan().maneuvers)
    cells = {name: to_cells(rows) for name, rows in records.tables.items()}
    write_delivery(folder / "csv" / CODE / "001", site, cells, SiteMap())
    place = folder / "workbook" / CODE / "001"
    place.mkdir(parents=True)
    (place / f"{CODE}_001.xlsx").write_bytes(
        build_workbook({"submission": describe(site, "001")} | cells)
    )
    return sum(map(len, cells.values()))


def measure(*words: object) -> str:
    """Seconds and memory of one tool, as a line."""
    command = [sys.executable, "-c", MEASURE, sys.executable, "-m", "pipeline", *map(str, words)]
    measured = [
        subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
        for _ in range(2)
    ]
    return (
        f"{min(float(seconds) for seconds, _ in measured):6.1f} s "
        f"{max(int(peak) for _, peak in measured) / 1_000:6.0f} MB"
    )


if __name__ == "__main__":
    for tool in ("template", "pseudonymise", "check", "dictionary", "explain"):
        print(f"{measure(tool, '--help')}  {tool} --help")
    with tempfile.TemporaryDirectory() as temporary:
        rows = write_site(Path(temporary))
        for form in ("csv", "workbook"):
            print(
                f"{measure('check', Path(temporary) / form / CODE / '001')}  check, {form}, "
                f"{rows:,} rows"
            )
