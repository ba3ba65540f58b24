"""Runs of the workflow that are killed at a random moment: the next one gives the bytes of a run
that was left alone, or a sentence.

python -m tests.whole.kills [NUMBER]    kill NUMBER runs (default: 200), of which every second one
                                        has results of the deliveries before
"""

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from pipeline.results import ORDINARY
from tests.whole.conftest import ROOT, command_of

EPISODES, SITES, SEED = 120, 3, 4407
COMPARED = (*ORDINARY, "sites", "intake")


def make_pool(folder: Path) -> Path:
    """A small invented pool whose last site has a delivery before its last one."""
    words = [f"--out={folder}", f"--episodes={EPISODES}", f"--sites={SITES}", f"--seed={SEED}"]
    subprocess.run(
        [sys.executable, "-m", "synthetic_data", *words], cwd=ROOT, check=True, capture_output=True
    )
    return folder / "pool"


def start(directory: Path, pool: Path) -> subprocess.Popen:
    """A run of its own process group, so that all of it can be killed."""
    return subprocess.Popen(
        command_of(
            *("--directory", str(directory), "--nolock", "--rerun-incomplete"),
            submissions=pool,
            results=directory / "results",
        ),
        start_new_session=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env=os.environ | {"PYTHONPATH": ""},
    )


def finish(directory: Path, pool: Path) -> tuple[int, str]:
    """Run to the end: exit code and what was printed."""
    running = start(directory, pool)
    printed, _ = running.communicate()
    return running.returncode, printed


def list_bytes(results: Path) -> dict[str, bytes]:
    """What was made, by its path in the results."""
    return {
        path.relative_to(results).as_posix(): path.read_bytes()
        for part in COMPARED
        for path in sorted((results / part).rglob("*"))
        if path.is_file() and not path.name.startswith(".")
    }


def kill_runs(number: int, folder: Path) -> Iterator[str]:
    """Kill runs one after another; a line for each that ended otherwise than it should."""
    draw = random.Random(SEED)
    whole = make_pool(folder / "made")
    part = folder / "part"
    shutil.copytree(whole, part)
    shutil.rmtree(sorted(part.iterdir())[-1])
    began = time.monotonic()
    code, printed = finish(folder / "clean", whole)
    seconds = time.monotonic() - began
    if code:
        yield f"the run that was left alone ended with {code}: {printed[-500:]}"
        return
    before = folder / "before"
    finish(before, part)
    finish(before, whole)
    expected = [list_bytes(folder / "clean" / "results"), list_bytes(before / "results")]
    shutil.rmtree(before)
    finish(before, part)
    for k in range(number):
        directory = folder / "killed"
        shutil.rmtree(directory, ignore_errors=True)
        if k % 2:
            shutil.copytree(before, directory, symlinks=True)
        running = start(directory, whole)
        moment = draw.uniform(0, seconds)
        try:
            running.wait(moment)
        except subprocess.TimeoutExpired:
            os.killpg(running.pid, signal.SIGKILL)
        running.communicate()
        code, printed = finish(directory, whole)
        how = f"run {k}, killed after {moment:.1f} s"
        if code or "Traceback" in printed:
            yield f"{how}: the next one ended with {code}: {printed[-500:]}"
            continue
        found = list_bytes(directory / "results")
        different = {
            path
            for path in found.keys() | expected[k % 2].keys()
            if found.get(path) != expected[k % 2].get(path)
        }
        if different:
            yield f"{how}: {len(different)} files differ, as {min(different)}"


def main() -> None:
    """Kill as many runs as asked, and end with a fault if one was not mended."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with tempfile.TemporaryDirectory() as folder:
        faults = list(kill_runs(number, Path(folder)))
    print("\n".join([*faults, f"{number} runs killed, {len(faults)} not mended by the next one"]))
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
