"""How a step starts and how it fails: where, but not with what, since a message can hold a patient's values."""

import sys
import traceback
from collections.abc import Callable


def run_step(step: Callable[[], None], code: int = 1) -> None:
    """Run a step; on a program fault print the place and the kind of the fault, without its message, and exit with `code`."""
    try:
        step()
    except Exception as fault:
        for frame in traceback.extract_tb(fault.__traceback__):
            print(f"  {frame.filename}:{frame.lineno} in {frame.name}", file=sys.stderr)
        print(f"{type(fault).__name__} (its message is left out: it could hold a patient's values)", file=sys.stderr)
        sys.exit(code)
