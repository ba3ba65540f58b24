"""Change modules in one place at a time and see whether the tests nearest to them notice.

`python -m tests.mutation` tries a sample of each module of TARGETS; see README.md.
"""

import argparse
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from importlib import import_module
from pathlib import Path

from tests.mutation.mutants import Mutant, list_mutants

ROOT = Path(__file__).parent.parent.parent
# each module with its tests, the quickest first: the first that fails ends a trial
TARGETS = {
    "pipeline/derivation/spells.py": (
        "tests/unit/derivation/test_spells.py",
        "tests/unit/derivation/test_states.py",
        "tests/unit/derivation/test_attempts.py",
    ),
    "pipeline/adjudication/adjudicate.py": (
        "tests/unit/adjudication/test_adjudicate_precedence.py",
        "tests/unit/adjudication/test_adjudicate.py",
        "tests/unit/adjudication/test_flags.py",
        "tests/unit/adjudication/test_repeated_tests.py",
        "tests/unit/adjudication/test_look_alikes.py",
        "tests/unit/adjudication/test_adjudicate_always.py",
    ),
    "pipeline/disclosure/audit.py": (
        "tests/unit/disclosure/test_audit.py",
        "tests/unit/disclosure/test_people.py",
    ),
    "schemas/quantities.py": (
        "tests/unit/schemas/test_quantities.py",
        "tests/unit/reports/technical/test_catalogue.py",
        "tests/unit/disclosure/test_rounding.py",
    ),
}
LIBRARIES = (
    "pandas",
    "pandera.pandas",
    "pydantic",
    "scipy.optimize",
    "hypothesis",
    "pytest",
    "yaml",
)
COPIED = (
    "pipeline",
    "schemas",
    "environment",
    "synthetic_data",
    "tests",
    "config",
    "reports",
    "docs",
)
KILLED, SURVIVED, NO_END = "killed", "survived", "no end"
# before a mutant is said to have no end: times as long as the unchanged module takes, and seconds
PATIENCE, LEAST_PATIENCE = 10, 120


def main() -> None:
    """Try the mutants and say which the tests did not notice."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("modules", nargs="*", choices=[*TARGETS, []], help="default: all")
    parser.add_argument("--sample", type=int, default=60, help="mutants of a module; 0 takes all")
    parser.add_argument("--seed", type=int, default=1, help="of the sample")
    arguments = parser.parse_args()
    for library in LIBRARIES:
        import_module(library)
    with tempfile.TemporaryDirectory() as place:
        folder = copy_tree(Path(place))
        os.chdir(folder)
        sys.path[:] = [str(folder), *(path for path in sys.path if path not in ("", str(ROOT)))]
        for module in arguments.modules or TARGETS:
            try_module(folder, module, arguments.sample, arguments.seed)


def copy_tree(place: Path) -> Path:
    """A copy of what the tests need, so that no mutant is ever in the real tree."""
    for name in COPIED:
        shutil.copytree(ROOT / name, place / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "run.py", "Snakefile"):
        shutil.copy(ROOT / name, place / name)
    return place


def try_module(folder: Path, module: str, sample: int, seed: int) -> None:
    """Try the mutants of one module, each in a process of its own, and print what survives."""
    path, tests = folder / module, TARGETS[module]
    original = path.read_text("utf-8")
    mutants = list_mutants(original)
    chosen = choose(mutants, sample, seed)
    began = time.monotonic()
    if run_tests(tests, 3_600) != SURVIVED:
        sys.exit(f"{module}: its tests fail without any change")
    patience = max(PATIENCE * (time.monotonic() - began), LEAST_PATIENCE)
    became = dict.fromkeys((KILLED, SURVIVED, NO_END), 0)
    for mutant in chosen:
        path.write_text(mutant.text, "utf-8")
        outcome = run_tests(tests, patience)
        became[outcome] += 1
        if outcome != KILLED:
            print(f"{module}:{mutant.line}: {outcome}: {mutant.says}", flush=True)
    path.write_text(original, "utf-8")
    print(
        f"{module}: {len(chosen)} of {len(mutants)} mutants, "
        + ", ".join(f"{count} {what}" for what, count in became.items())
        + f", {time.monotonic() - began:.0f} seconds",
        flush=True,
    )


def choose(mutants: list[Mutant], sample: int, seed: int) -> list[Mutant]:
    """As many of them as asked for, spread by chance, in the order of their lines."""
    if not 0 < sample < len(mutants):
        return mutants
    places = sorted(random.Random(seed).sample(range(len(mutants)), sample))
    return [mutants[place] for place in places]


def run_tests(tests: tuple[str, ...], patience: float) -> str:
    """What became of the tree as it lies: the libraries are there already, our own code is read
    anew by a child process."""
    child = os.fork()
    if child == 0:
        import pytest

        os.setsid()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        sys.dont_write_bytecode = True
        options = ["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", "-o", "addopts="]
        code = pytest.main([*options, "--import-mode=importlib", *tests])
        os._exit(0 if code == 0 else 1)
    end = time.monotonic() + patience
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return SURVIVED if os.waitstatus_to_exitcode(status) == 0 else KILLED
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return NO_END


if __name__ == "__main__":
    main()
