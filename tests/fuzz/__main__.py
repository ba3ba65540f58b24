"""Breaks valid deliveries at random and tries them.

python -m tests.fuzz [NUMBER] [--first SEED]    tries NUMBER of them (default: 10,000), every second
                                                one with page, store and check; prints each that
                                                ended as it must not, and how all went; exit code 1
                                                if any did
"""

import argparse
import multiprocessing
import resource
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from schemas.study import read_config
from tests.fuzz.case import KINDS, write_case
from tests.fuzz.trial import Trial, find_peak, try_case

ROOT = Path(__file__).parent.parent.parent
BATCH, MOST_MEMORY = 50, 3_000_000_000  # bytes of addresses: whoever wants more gets a MemoryError


def main() -> None:
    """Read the command line, try, print."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("number", type=int, nargs="?", default=10_000)
    parser.add_argument("--first", type=int, default=0, help="seed to begin with")
    words = parser.parse_args()
    ends: Counter[tuple[str, str]] = Counter()
    slowest, peak, faults = 0.0, 0, 0
    last = words.first + words.number
    batches = [range(k, min(k + BATCH, last)) for k in range(words.first, last, BATCH)]
    with multiprocessing.get_context("fork").Pool(1, maxtasksperchild=4) as pool:
        for trials, memory in pool.imap(try_batch, batches):
            peak = max(peak, memory)
            for trial in trials:
                ends[trial.case.kind, trial.status] += 1
                slowest = max(slowest, trial.seconds)
                faults += bool(trial.faults)
                for fault in trial.faults:
                    print(f"{trial.case.seed} {trial.case.kind} {trial.case.form}: {fault}")
            print(f"{sum(ends.values())} of {words.number}", file=sys.stderr, flush=True)
            sys.stdout.flush()
    for (kind, status), number in sorted(ends.items()):
        print(f"{kind:8} {status:10} {number:6,}")
    print(f"{faults:,} faults; slowest {slowest:.1f} s, greatest memory {peak:,} MB")
    sys.exit(bool(faults))


def try_batch(seeds: Iterable[int]) -> tuple[list[Trial], int]:
    """Try the deliveries of some seeds: how they went, and the greatest memory in MB."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    plan = read_config(ROOT / "config")
    trials = []
    for seed in seeds:
        folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
        whole = seed // len(KINDS) % 2 == 0  # of each kind every second one
        trials.append(try_case(write_case(seed, folder), plan, whole=whole))
        shutil.rmtree(folder, ignore_errors=True)
    return trials, find_peak()


if __name__ == "__main__":
    main()
