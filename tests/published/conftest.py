"""R beside the records that its scripts gave: they are made again where R and its packages are."""

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@pytest.fixture
def run_r() -> Callable[..., str]:
    """A function from the name of a script of this folder and its arguments to what it prints; the
    test is skipped where R, or a package that the script loads, is missing."""

    def run_script(name: str, *arguments: str) -> str:
        program = shutil.which("Rscript")
        if program is None:
            pytest.skip("needs Rscript")
        command = [program, name, *arguments]
        done = subprocess.run(command, cwd=HERE, capture_output=True, text=True)
        missing = re.search("there is no package called .(\\w+).", done.stderr)
        if done.returncode and missing:
            pytest.skip(f"needs the package {missing[1]} of R")
        assert done.returncode == 0, done.stderr
        return done.stdout

    return run_script
