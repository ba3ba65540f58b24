"""A double click starts what `./run desk` starts, wherever the folder is and whatever it is
called."""

import os
import shutil
import subprocess

import pytest

from tests.whole.conftest import ROOT

POSIX = ("desk.sh", "desk.command")


@pytest.mark.skipif(os.name == "nt", reason="these are started by a shell")
@pytest.mark.parametrize("name", POSIX)
@pytest.mark.parametrize("code", [0, 3])
def test_it_runs_the_tool_of_its_own_folder(name, code, tmp_path):
    folder = tmp_path / "the pool's folder"
    folder.mkdir()
    for starter in POSIX:
        shutil.copy(ROOT / starter, folder)
    (folder / "run").write_text(f'#!/bin/sh\necho "$PWD: $*"\nexit {code}\n')
    (folder / "run").chmod(0o755)
    done = subprocess.run(
        [folder / name, "--plan", "a b"],
        cwd="/",
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (code, f"{folder}: desk --plan a b\n")


def test_the_one_for_windows_runs_the_same_tool():
    lines = (ROOT / "desk.cmd").read_text("ascii").splitlines()
    assert "if errorlevel 1 (python run.py desk %*) else (py run.py desk %*)" in lines
    assert lines.index('pushd "%~dp0"') < lines.index("where py >nul 2>nul")
