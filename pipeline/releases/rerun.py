"""Two releases made again with records, plan and program of either, up to the estimates before
protection: what an earlier release hid or showed changes nothing there, and no ledger is read."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.releases.attribute import Changes, list_combinations, name_changes
from pipeline.releases.compare import CAUSES, join_estimates
from pipeline.releases.package import ESTIMATES, Package
from schemas.columns import Frame
from schemas.declared import PLAN
from schemas.estimate import Estimates

DATA = "deliveries"  # of `CAUSES`
UNRELEASED = "unreleased"
MADE_FROM = f"{UNRELEASED}/fingerprints.csv"
PATIENCE = 20.0  # seconds that a stopped run has to end by itself
LAST_LINES = 5
Say = Callable[[str], None]


class NotTheSame(Exception):
    """A release cannot be made again from what was named; the message is a sentence."""


@dataclass(frozen=True)
class Source:
    """What a release is made from.

    Attributes
    ----------
    package
        The release.
    deliveries, plan, code
        Folders of submissions, of the plan and of the program.
    """

    package: Package
    deliveries: Path
    plan: Path
    code: Path


def rerun_all(
    sources: tuple[Source, Source],
    causes: Sequence[str],
    touched: set[str],
    place: Path,
    say: Say,
) -> dict[Changes, Frame[Estimates] | None]:
    """Make every combination of two releases.

    Parameters
    ----------
    sources
        Of the earlier and of the later release.
    causes
        In what they differ, of `CAUSES`.
    touched
        Analyses that are asked for.
    place
        Empty folder of this process alone, for records.
    say
        Tells how far it is.

    Returns
    -------
    dict
        By what was taken from the later release the estimates before protection; None where the
        program refuses the combination, as a program does with a plan of another version.

    Raises
    ------
    NotTheSame
        If one of both releases, made again, is not made from what its release says.
    """
    combinations = list_combinations(causes)
    for number, source in enumerate(sources):
        say(f"Release {source.package.number}: are records, plan and program those that it names?")
        results = _place_of(place, combinations[number])
        fault = run_workflow(source, results, [str(results / MADE_FROM)])
        if fault:
            raise NotTheSame(f"Release {source.package.number} cannot be made again here. {fault}")
        require_same(source.package, read_made_from(results))
    reruns: dict[Changes, Frame[Estimates] | None] = {}
    for number, changes in enumerate(combinations, 1):
        began = time.monotonic()
        results = _place_of(place, changes)
        targets = [
            str(results / UNRELEASED / f"{name}.csv")
            for name in sorted(touched & list_analyses(sources["code" in changes].package))
        ]
        # in the folders in which it was checked, so that nothing is done twice
        is_later = len(changes) == len(causes)
        source = sources[1] if is_later else mix_sources(sources, changes)
        fault = run_workflow(source, results, targets)
        if fault and (is_later or not changes):
            raise NotTheSame(f"Release {source.package.number} cannot be made again here. {fault}")
        reruns[changes] = None if fault else join_estimates(map(Path, targets))
        what = f"release {sources[0].package.number}"
        if changes:
            what += f" with {name_changes(changes)} of release {sources[1].package.number}"
        ended = f"does not run. {fault}" if fault else f"{time.monotonic() - began:.0f} s"
        say(f"{number} of {len(combinations)}: {what}: {ended}")
    return reruns


def mix_sources(sources: tuple[Source, Source], changes: Changes) -> Source:
    """The earlier release's source with some of the later one's in its place."""
    chosen = {name: getattr(sources[name in changes], name) for name in CAUSES}
    return Source(sources[0].package, **chosen)


def list_analyses(package: Package) -> set[str]:
    """The analyses of a release that are estimated from records alone."""
    names = {Path(path).stem for path in package.hashes if path.startswith(f"{ESTIMATES}/")}
    return {name for name in names if name not in PLAN or not PLAN[name].of_the_demonstration}


def read_made_from(results: Path) -> dict[str, str]:
    """What a run in a folder of results was made from, by name."""
    return pd.read_csv(results / MADE_FROM, dtype="string").set_index("name")["value"].to_dict()


def require_same(package: Package, here: Mapping[str, str]) -> None:
    """Raise NotTheSame if a run was not made from the records, plan and program of a release."""
    other = [
        words for name, words in CAUSES.items() if here.get(name) != package.made_from.get(name)
    ]
    if other:
        grown = " A folder to which deliveries came since must be named as it was: as a copy."
        raise NotTheSame(
            f"What was named is not what release {package.number} was made from. Different: "
            f"{', '.join(other)}. Nothing was compared.{grown if CAUSES[DATA] in other else ''}"
        )


def run_workflow(source: Source, results: Path, targets: list[str]) -> str:
    """Make files of results; a sentence on why they cannot be made, nothing if they were."""
    if not targets:
        return ""
    results.mkdir(exist_ok=True)
    log = results / "run.log"
    command = [sys.executable, "-m", "snakemake", "--snakefile", str(source.code / "Snakefile")]
    command += ["--cores", "all", "--nolock", "--rerun-incomplete", *targets]
    command += ["--config", f"submissions={source.deliveries.resolve()}"]
    command += [f"results={results}", f"plan={source.plan.resolve()}"]
    with log.open("w") as shown:
        running = subprocess.Popen(
            command,
            cwd=results,
            stdout=shown,
            stderr=subprocess.STDOUT,
            # the workflow finds its own modules, and Ctrl-C comes by `stop` alone
            env={**os.environ, "PYTHONPATH": str(source.code), "PYTHONSAFEPATH": "1"},
            start_new_session=True,
        )
        try:
            running.wait()
        except BaseException:
            stop(running)
            raise
    if running.returncode == 0:
        return ""
    lines = [line for line in log.read_text("utf-8", "replace").splitlines() if line.strip()]
    return "\n".join(["The run said:", *lines[-LAST_LINES:]])


@contextmanager
def stopping_at_signals() -> Iterator[None]:
    """While this lasts, whatever asks the process to end is met as Ctrl-C is, so that what was
    begun is stopped and wiped."""

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    numbers = [getattr(signal, name, None) for name in ("SIGTERM", "SIGHUP")]
    before = {number: signal.signal(number, interrupt) for number in numbers if number}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def stop(running: subprocess.Popen, patience: float = PATIENCE) -> None:
    """End a run with everything that it started, gently first."""
    try:
        if sys.platform == "win32":
            running.terminate()
        else:
            running.send_signal(signal.SIGINT)
        with suppress(subprocess.TimeoutExpired):
            running.wait(patience)
    finally:
        with suppress(ProcessLookupError):
            if sys.platform == "win32":
                running.kill()
            else:
                os.killpg(running.pid, signal.SIGKILL)
        running.wait()


def _place_of(place: Path, changes: Changes) -> Path:
    return place / ("-".join(["results", *sorted(changes)]))
