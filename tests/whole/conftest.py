"""The workflow as a person runs it: on a folder of deliveries, in a folder of its own."""

import csv
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
POOL = ROOT / "synthetic_data" / "pool"


def command_of(*arguments: str, **config: object) -> list[str]:
    """The command line of the workflow with two cores."""
    pairs = [f"{name}={value}" for name, value in config.items()]
    base = [
        sys.executable,
        "-m",
        "snakemake",
        "--snakefile",
        str(ROOT / "Snakefile"),
        "--cores",
        "2",
        *arguments,
    ]
    return [*base, "--config", *pairs] if pairs else base


def run_workflow(directory: Path, *arguments: str, **config: object) -> subprocess.CompletedProcess:
    """Run it to its end in `directory`; what it printed is in `stdout`."""
    return subprocess.run(
        command_of("--directory", str(directory), *arguments, **config),
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env=os.environ | {"PYTHONPATH": ""},
        check=False,
    )


def write_delivery(
    folder: Path, tables: dict[str, list[dict]], site: str, number: str, **submission: object
) -> None:
    """Five .csv files as a clinic hands them in; each table's rows are dicts of texts or
    numbers."""
    target = folder / site / number
    target.mkdir(parents=True)
    fields = {
        "site_code": site,
        "delivery": number,
        "dictionary_version": 1,
        "deidentified": "yes",
        "first_year": 2024,
    }
    fields |= {
        "last_year": 2024,
        "short_arm_basis": "not_assessed",
        "usual_confirmation_day": 7,
    } | submission
    rows = tables | {
        "submission": [{"field": field, "value": value} for field, value in fields.items()]
    }
    for name, members in rows.items():
        with (target / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(
                file, list(dict.fromkeys(column for row in members for column in row)), restval=""
            )
            writer.writeheader()
            writer.writerows(members)


@pytest.fixture(scope="session")
def pool_run(tmp_path_factory):
    """The demonstration pool, run once for all processes: the folder with `results`,
    and what the terminal showed."""
    shared = tmp_path_factory.getbasetemp()
    shared = shared.parent if "PYTEST_XDIST_WORKER" in os.environ else shared
    directory, shown = shared / "pool", shared / "pool.txt"
    try:
        directory.mkdir()
    except FileExistsError:
        while not shown.exists():
            time.sleep(0.5)
    else:
        done = run_workflow(directory)
        written = shared / "pool.txt.part"
        written.write_text(f"{done.returncode}\n{done.stdout}", "utf-8")
        written.rename(shown)
    ended, _, stdout = shown.read_text("utf-8").partition("\n")
    assert ended == "0", stdout[-3000:]
    return directory, stdout
