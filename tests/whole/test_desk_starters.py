"""A double click starts what `./run desk` starts, wherever the folder is and whatever it is
called."""

import os
import re
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


def test_the_one_for_windows_runs_the_same_tool_with_the_newest_python_that_fits():
    lines = (ROOT / "desk.cmd").read_text("ascii").splitlines()
    told = re.search(r"\((3, \d+)\) <= .* <= \((3, \d+)\)", (ROOT / "run.py").read_text("utf-8"))
    first, last = (int(version.split(", ")[1]) for version in told.groups())
    versions = " ".join(f"3.{minor}" for minor in range(first, last + 1))  # the last that is there
    loop = f'for %%v in ({versions}) do py -%%v -c "" >nul 2>nul && set "python=py -%%v"'
    order = ['pushd "%~dp0"', 'set "python="', loop, "%python% run.py desk %*"]
    assert [line for line in lines if line in order] == order
