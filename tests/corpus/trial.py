"""Tries a written delivery as its users would: the workflow's step, and the check,
each in a process of its own."""

import contextlib
import os
import runpy
import signal
import sys
import tempfile
import time
import traceback
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
TRACEBACK, HANG = 99, 98


@dataclass(frozen=True)
class Run:
    """How a program ended: its exit code, everything it printed, seconds."""

    code: int
    text: str
    seconds: float

    @property
    def crashed(self) -> bool:
        """Whether it ended in an exception or had to be stopped."""
        return self.code in (TRACEBACK, HANG) or "Traceback (most recent call last)" in self.text


def warm_up(deliveries: list[Path]) -> None:
    """Try these deliveries in this process, so that each process made from it has everything
    imported."""
    os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    with (
        open(os.devnull, "w") as nowhere,
        contextlib.redirect_stdout(nowhere),
        contextlib.redirect_stderr(nowhere),
    ):
        for folder in deliveries:
            results = str(folder.parent / "results")
            _run_module(
                "pipeline.steps.intake",
                ["--plan", str(ROOT / "config"), "--results", results, str(folder)],
            )
            _run_module("pipeline", ["check", "--mark", str(folder)])


def run_intake(folders: list[Path], results: Path, seconds: float = 60) -> Run:
    """The workflow's intake step on these delivery folders."""
    return _run(
        "pipeline.steps.intake",
        ["--plan", str(ROOT / "config"), "--results", str(results), *map(str, folders)],
        seconds,
    )


def run_check(path: Path, *options: str, seconds: float = 60) -> Run:
    """`python -m pipeline check` on a file or folder."""
    return _run("pipeline", ["check", *options, str(path)], seconds)


def _run(module: str, words: list[str], seconds: float) -> Run:
    started = time.monotonic()
    with tempfile.TemporaryFile() as output:
        sys.stdout.flush()
        sys.stderr.flush()
        child = os.fork()
        if child == 0:
            os.dup2(output.fileno(), 1)
            os.dup2(output.fileno(), 2)
            signal.signal(signal.SIGALRM, signal.SIG_DFL)
            signal.alarm(int(seconds) + 1)
            code = _run_module(module, words)
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
        _, status = os.waitpid(child, 0)
        output.seek(0)
        text = output.read().decode("utf-8", "replace")
    code = os.WEXITSTATUS(status) if os.WIFEXITED(status) else HANG
    return Run(code, text, time.monotonic() - started)


def _run_module(module: str, words: list[str]) -> int:
    sys.argv = [module, *words]
    try:
        runpy.run_module(module, run_name="__main__", alter_sys=True)
    except SystemExit as end:
        if end.code is None or isinstance(end.code, int):
            return end.code or 0
        print(end.code, file=sys.stderr)
        return 1
    except BaseException:
        traceback.print_exc()
        return TRACEBACK
    return 0
