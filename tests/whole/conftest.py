"""The workflow as a person runs it: on a folder of deliveries, in a folder of its own."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.called import call as call

ROOT = Path(__file__).parent.parent.parent
POOL = ROOT / "synthetic_data" / "pool"


def command_of(*arguments: str, program: Path = ROOT, **config: object) -> list[str]:
    """The command line of the workflow of a program (default: this one) with two cores."""
    pairs = [f"{name}={value}" for name, value in config.items()]
    base = [
        sys.executable,
        "-m",
        "snakemake",
        "--snakefile",
        str(program / "Snakefile"),
        "--cores",
        "2",
        *arguments,
    ]
    return [*base, "--config", *pairs] if pairs else base


def run_workflow(
    directory: Path, *arguments: str, program: Path = ROOT, **config: object
) -> subprocess.CompletedProcess:
    """Run it to its end in `directory`; what it printed is in `stdout`."""
    return subprocess.run(
        command_of("--directory", str(directory), *arguments, program=program, **config),
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env=os.environ | {"PYTHONPATH": ""},
        check=False,
    )


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
