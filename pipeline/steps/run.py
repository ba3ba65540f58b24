"""How a step starts and how it ends: what it counted goes to its log; of a fault its place,
but not its message, since that can hold a patient's values."""

import errno
import os
import sys
import time
import traceback
import warnings
from collections.abc import Callable
from contextlib import nullcontext
from typing import TextIO

from pipeline.results import sealing
from pipeline.steps.arguments import start_parser

Counts = dict[str, int]
NO_ROOM = (errno.ENOSPC, errno.EDQUOT)


def run_step(step: Callable[[], Counts | None]) -> None:
    """Run a step guarded, and print what it counted, its seconds and its greatest memory,
    a line each."""
    began = time.monotonic()
    seal = start_parser(None, plan=False).parse_known_args()[0].seal
    with sealing(seal) if seal else nullcontext():
        counts = run_guarded(step) or {}
    for name, count in counts.items():
        print(f"{name}: {count:,}")
    print(f"seconds: {time.monotonic() - began:.1f}")
    if memory := find_peak_memory():
        print(f"peak memory: {memory:,} MB")


def run_guarded(step: Callable[[], Counts | None], code: int = 1) -> Counts | None:
    """What a step or tool returns.

    A fault ends it with `code`: one of the program with its place and kind printed without its
    message, one of the plan told whole, since a plan holds no record.
    """
    from schemas.plan_faults import PlanFault

    warnings.showwarning = tell_place
    try:
        return step()
    except PlanFault as fault:
        print(fault, file=sys.stderr)
        sys.exit(code)
    except Exception as fault:
        if os.strerror(errno.ENOSPC) in str(fault) or getattr(fault, "errno", None) in NO_ROOM:
            print("The disk is full: make room on it, then start again.", file=sys.stderr)
            sys.exit(code)
        tell_fault(fault)
        sys.exit(code)


def tell_fault(fault: Exception) -> None:
    """Print where a fault arose and of which kind it is, without its message."""
    for frame in traceback.extract_tb(fault.__traceback__):
        print(f"  {frame.filename}:{frame.lineno} in {frame.name}", file=sys.stderr)
    print(
        f"{type(fault).__name__} (its message is left out: it could hold a patient's values)",
        file=sys.stderr,
    )


def tell_place(
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    file: TextIO | None = None,
    line: str | None = None,
) -> None:
    """Print where a warning arose and of which kind it is, without its message,
    for the same reason."""
    print(f"{category.__name__} at {filename}:{lineno}", file=sys.stderr)


def find_peak_memory() -> int | None:
    """The greatest memory that this process has had, in MB; None where the system does not say."""
    try:
        import resource
    except ImportError:  # Windows
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return round(peak / (1_000_000 if sys.platform == "darwin" else 1_000))
