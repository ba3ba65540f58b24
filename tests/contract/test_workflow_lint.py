"""Snakemake's own linter finds nothing in the workflow but what is done on purpose."""

import re
import subprocess
import sys

from tests.contract.test_floors import ROOT

ON_PURPOSE = {
    r"Environment variable (PATH|PYTHONPATH)": "set for the steps, not asked of the caller",
    r"Shell command directly uses variable PLAN": "a folder, all of whose files are inputs",
    r"Shell command directly uses variable RESULTS": "a folder, whose new files are outputs",
    r"Shell command directly uses variable rule": "its own name, by which its seal is called",
    r"Specify a conda environment": "all steps run in one, locked with hashes",
}


def test_the_linter_finds_nothing_else():
    lint = subprocess.run(
        [sys.executable, "-m", "snakemake", "--lint"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    complaints = re.findall(r"^    \* (.+?):?$", lint.stdout + lint.stderr, re.M)
    assert complaints  # it was run
    assert [
        what for what in complaints if not any(re.match(known, what) for known in ON_PURPOSE)
    ] == []
