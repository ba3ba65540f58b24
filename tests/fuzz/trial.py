"""Tries a broken delivery as the workflow and the check would, in this process, and says what must
not be: a fault, a row that went astray, a check that judges otherwise."""

import contextlib
import io
import resource
import signal
import time
import traceback
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

import pandas as pd

from pipeline.coordinator.check import NothingToCheck, check_path
from pipeline.derivation.tables import DELIVERED, derive_tables
from pipeline.intake.folders import list_deliveries
from pipeline.intake.receive import Received, receive_delivery
from pipeline.intake.report import describe_intake, format_problems
from pipeline.reports.render import render_page
from pipeline.warehouse import build_warehouse
from schemas.delivery import TABLES
from schemas.study import Config
from tests.fuzz.case import Case

SECONDS = 30.0  # of the processor; a valid delivery of this size takes about half of one
ENDS = {"accepted": 0, "set aside": 1, "refused": 2}
ROWS = ("rows_stored", "rows_set_aside", "rows_withdrawn", "rows_refused")


class TooLong(Exception):
    """A trial took more of the processor than it may."""


@dataclass
class Trial:
    """How it went.

    Attributes
    ----------
    case
        The delivery.
    status
        accepted, set aside, refused, or skipped by the workflow.
    faults
        What must not be, a line each.
    seconds
        Of the processor.
    """

    case: Case
    status: str = "skipped"
    faults: list[str] = field(default_factory=list)
    seconds: float = 0.0


def try_case(case: Case, plan: Config, *, whole: bool) -> Trial:
    """Try the intake of one delivery; if `whole`, its page, its place in the store and its check
    too."""
    trial = Trial(case)
    if case.folder is None:
        return trial
    began = time.process_time()
    with _at_most(SECONDS), _watching(trial, "workflow"):
        found, _ = list_deliveries(case.folder.parent.parent)
        for delivery in found:
            received = receive_delivery(delivery.folder, plan)
            trial.status = name_status(received)
            trial.faults += find_astray(received.tables)
            if whole:
                format_problems(received)
                render_page("intake.html.j2", describe_intake(received, None, invented=False))
            if whole and received.accepted:
                store(received, plan, case.folder.parent.parent)
    if whole:
        code, said = 3, ""
        with _at_most(SECONDS), _watching(trial, "check"):
            code, said = run_check(case.folder, plan)
        expected = ENDS.get(trial.status, 3)
        if not trial.faults and code != expected and not (expected == 3 and code == 2):
            trial.faults.append(f"workflow: {trial.status}, check: exit code {code}")
        if "Traceback" in said:
            trial.faults.append("check: a traceback was printed")
    trial.seconds = time.process_time() - began
    return trial


def name_status(received: Received) -> str:
    """What became of a delivery."""
    if not received.accepted:
        return "refused"
    return "set aside" if len(received.tables["set_aside"]) else "accepted"


def find_astray(tables: dict[str, pd.DataFrame]) -> list[str]:
    """Tables of which a row that was handed in has no place, or has one more than once."""
    faults = []
    counts = tables["row_counts"].set_index("table")
    for name, row in counts.iterrows():
        kept = {
            "rows_stored": len(tables[str(name)]) if name in TABLES else row["rows_stored"],
            "rows_set_aside": int(tables["set_aside"]["table"].eq(name).sum()),
        }
        if row["rows_in"] != sum(row[column] for column in ROWS):
            faults.append(f"{name}: rows in are not those with a place")
        faults += [
            f"{name}: {column} says {row[column]} of {number}"
            for column, number in kept.items()
            if row[column] != number
        ]
    return faults


def store(received: Received, plan: Config, folder: Path) -> None:
    """Store an accepted delivery and derive everything from it, as the workflow does next."""
    rows = folder / "rows"
    rows.mkdir()
    for name, table in received.tables.items():
        table.to_parquet(rows / f"{name}.parquet", index=False)
    with build_warehouse(folder / "store.duckdb") as warehouse:
        warehouse.load_deliveries([rows])
        delivered = {name: warehouse.read(name, current=True) for name in DELIVERED}
        for name, derived in derive_tables(delivered, plan).items():
            warehouse.insert(name, derived)


def run_check(folder: Path, plan: Config) -> tuple[int, str]:
    """The check with a marked copy: its exit code and what it printed."""
    with contextlib.redirect_stdout(io.StringIO()) as printed:
        try:
            code = check_path(folder, plan, mark=True)
        except NothingToCheck:
            code = 3
    return code, printed.getvalue()


@contextlib.contextmanager
def _watching(trial: Trial, what: str) -> Iterator[None]:
    try:
        yield
    except BaseException as fault:
        if isinstance(fault, KeyboardInterrupt):
            raise
        last = traceback.extract_tb(fault.__traceback__)[-1]
        trial.faults.append(
            f"{what}: {type(fault).__name__} at {Path(last.filename).name}:{last.lineno} "
            f"({_find_own(fault)}): {str(fault)[:200]}"
        )


def _find_own(fault: BaseException) -> str:
    """The innermost place of ours that a fault came through."""
    frames = [f for f in traceback.extract_tb(fault.__traceback__) if "/pipeline/" in f.filename]
    return f"{Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else "not ours"


@contextlib.contextmanager
def _at_most(seconds: float) -> Iterator[None]:
    """Raise TooLong after so many seconds of the processor."""

    def stop(signum: int, frame: FrameType | None) -> None:
        raise TooLong

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def find_peak() -> int:
    """The greatest memory that this process has had, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1_000
