"""Commands that the documents show run, one after the other, as a reader would copy them.

Left to tests/contract/test_commands.py, which asks whether they would be understood, are those
that take minutes, change this folder, or need what a reader has: see LEFT_OUT.
"""

import re
import shlex
import subprocess
import sys

import pytest

from environment.place import PYTHON
from tests.contract.test_documents import DOCUMENTS, is_command, list_code
from tests.contract.test_floors import ROOT

LEFT_OUT = {
    r"(\./run|py run\.py|snakemake .*)$": "the demonstration, run by other tests of this folder",
    r"\./run (test|--config)|pytest": "the tests themselves, and a pool of the reader's own",
    r"\./run (explain|check|trace)$": "names a command only",
    r"\./run desk$": "a page that stays until it is closed: it has tests of its own",
    r"snakefmt |mypy$": "layout of the workflow and types, which .ci/run asks for",
    r"python -m tests\.|uv |rm -r|python -m synthetic_data --out": "studies, the lock, pools",
}
COMMANDS = sorted(
    {command for document in DOCUMENTS for command in list_code(document) if is_command(command)}
)
RUN = [
    command
    for command in COMMANDS
    if not any(re.match(pattern, command.removeprefix(".venv/bin/")) for pattern in LEFT_OUT)
]


@pytest.fixture(scope="module")
def folder(pool_run, tmp_path_factory):
    """Where a reader stands: results of the demonstration, and a workbook of a site."""
    place = tmp_path_factory.mktemp("reader")
    (place / "results").symlink_to(pool_run[0] / "results")
    (place / "docs").mkdir()
    template = [sys.executable, "-m", "pipeline", "template", "--filled", "--out"]
    subprocess.run([*template, str(place / "S03_001.xlsx")], cwd=ROOT, check=True)
    return place


def adapt(command: str) -> list[str]:
    """The same command with the Python that runs the tests."""
    words = shlex.split(re.split(r"\s{2,}", command)[0])
    if words[0] == "./run" and words[1].startswith("-"):
        return [sys.executable, str(ROOT / "run.py"), *words[1:]]
    if words[0] == "./run":
        return [sys.executable, "-m", "pipeline", *words[1:]]
    if words[0].endswith("ruff"):
        return [
            sys.executable,
            "-m",
            "ruff",
            *(word if word != "." else str(ROOT) for word in words[1:]),
        ]
    return [sys.executable, *words[1:]]


def test_what_is_left_out_is_still_told():
    assert all(
        any(re.match(pattern, command.removeprefix(".venv/bin/")) for command in COMMANDS)
        for pattern in LEFT_OUT
    )
    assert len(RUN) > 8


@pytest.mark.parametrize("command", RUN)
def test_the_command_runs(command, folder, monkeypatch):
    if "--dry-run" in command and not PYTHON.exists():
        pytest.skip("needs the environment of ./run")
    if "ruff format" in command:
        command = f"{command} --check"
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    for made in ("template.xlsx", "S03_001_marked.xlsx"):
        (folder / made).unlink(missing_ok=True)
    ended = subprocess.run(
        adapt(command), cwd=folder, capture_output=True, text=True, check=False, timeout=300
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
