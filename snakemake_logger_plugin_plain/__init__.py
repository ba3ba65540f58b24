"""What a run says at a terminal: a line a step with its name, how far it is, and at the end what
matters. `./run` asks Snakemake for it (`--logger plain`); Snakemake finds it by the name of this
folder."""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable
from logging import WARNING, LogRecord
from pathlib import Path
from typing import Any

from snakemake_interface_logger_plugins.base import LogHandlerBase
from snakemake_interface_logger_plugins.common import LogEvent

LAST_LINES = 12  # of a failed step's log
NOTHING = "Nothing to be done"
# what Snakemake says in passing and a person wants to know
OURS = ("Skipped ",)
KEPT = "What was finished is kept: the next run goes on from there."


class StepRecord(LogRecord):
    """What Snakemake puts into its records of a step."""

    rule_msg: str | None
    jobid: int
    job_id: int
    log: list[str]


class LogHandler(LogHandlerBase):
    """Writes to standard error, in one colour, and without any control sign unless a person
    watches."""

    writes_to_stream, writes_to_file, has_filter, has_formatter, needs_rulegraph = (
        True,
        False,
        True,
        True,
        False,
    )

    def __post_init__(self) -> None:
        self.began = time.monotonic()
        self.steps: dict[int, str] = {}  # by Snakemake's number, those that were begun
        self.running: dict[int, float] = {}  # since when
        self.done, self.total = 0, 0
        self.failed = self.stopping = self.told_end = False
        self.summarise = str  # nothing, until the workflow says how
        self.watched = sys.stderr.isatty()

    def emit(self, record: LogRecord) -> None:
        """Say what an event means for whoever waits, or nothing."""
        try:
            tellers: dict[Any, Callable[[Any], None]] = {
                LogEvent.RUN_INFO: self.tell_extent,
                LogEvent.JOB_INFO: self.begin_step,
                LogEvent.JOB_FINISHED: self.finish_step,
                LogEvent.JOB_ERROR: self.tell_failure,
                LogEvent.ERROR: self.tell_error,
                None: self.tell_text,
            }
            tell = tellers.get(getattr(record, "event", None))
            if tell:
                tell(record)
        except Exception:  # a fault of this handler must not end a run
            self.handleError(record)

    def tell_extent(self, record: LogRecord) -> None:
        """How many steps there are; the rule that only gathers them is none."""
        stats = {
            name: number
            for name, number in getattr(record, "stats", {}).items()
            if name not in ("all", "total")
        }
        if not self.total:
            self.total = sum(stats.values())
            self.say(
                f"{count(self.total, 'step')}{' would run' if self.common_settings.dryrun else ''}:"
            )

    def begin_step(self, record: StepRecord) -> None:
        """A step begins; in a dry run that is all there is."""
        if not record.rule_msg:
            return
        self.steps[record.jobid] = record.rule_msg
        if self.common_settings.dryrun:
            self.say(f"  {record.rule_msg}")
        else:
            self.running[record.jobid] = time.monotonic()
            self.show_running()

    def finish_step(self, record: StepRecord) -> None:
        """A line: how far, how long the run has taken, the step, and its own seconds."""
        if record.job_id not in self.running:
            return
        self.done += 1
        now, begun = time.monotonic(), self.running.pop(record.job_id)
        far = f"{self.done:>{len(str(self.total))}} of {self.total} {clock(now - self.began):>7}"
        self.say(f"{far}  {self.steps[record.job_id]} ({now - begun:.0f} s)")
        self.show_running()

    def tell_failure(self, record: StepRecord) -> None:
        """Which step failed, the end of its log, and where that is."""
        if self.stopping or record.jobid not in self.running:
            return
        self.failed = True
        del self.running[record.jobid]
        self.say(f"\nFailed: {self.steps[record.jobid]}")
        for path in map(Path, record.log):
            lines = path.read_text("utf-8", "replace").splitlines() if path.exists() else []
            for line in lines[-LAST_LINES:]:
                self.say(f"  {line}")
            self.say(f"Its log: {path}\n")

    def tell_error(self, record: LogRecord) -> None:
        """An error of the workflow without the place in its own files,
        which helps nobody who runs it."""
        kind = getattr(record, "exception", "")
        if kind != "RuleException" and not self.failed and not self.stopping:
            # that one is told by its step
            places = ("WorkflowError in file", "  File ")
            self.say(
                "\n".join(
                    line for line in str(record.msg).splitlines() if not line.startswith(places)
                )
            )
            self.failed = True

    def tell_text(self, record: LogRecord) -> None:
        """What Snakemake says in passing: warnings, what a person wants to know,
        and how it ended."""
        text = str(record.msg or "")
        self.summarise = getattr(record, "summarise", self.summarise)
        if text.startswith("Terminating processes on user request"):
            self.stopping = True
            self.say("\nStopping ...")
        elif text.startswith(NOTHING):
            self.say(f"{NOTHING}: everything is up to date.")
            self.say(f"\n{self.summarise()}".rstrip("\n"))
        elif text.startswith("\n") or text.startswith(OURS):
            self.say(text.rstrip())
        elif record.levelno >= WARNING and not self.failed and not self.stopping:
            self.say(text)

    def close(self) -> None:
        """The last line, once: how long it took, or that it was cut short."""
        if self.told_end:
            return
        self.told_end = True
        took = clock(time.monotonic() - self.began)
        self.clear()
        if self.total and not self.common_settings.dryrun:
            ended = "Stopped" if self.stopping else "Not finished" if self.failed else ""
            self.say(
                f"{ended} after {took}, {self.done} of {self.total} steps done. {KEPT}"
                if ended
                else f"Done in {took}."
            )
        super().close()

    def show_running(self) -> None:
        """Which steps are at work, on a line that the next one writes over;
        only where a person watches."""
        if self.watched and self.running:
            names = "; ".join(self.steps[number] for number in self.running)
            width = shutil.get_terminal_size().columns - 1
            print(f"\r\033[K{f'   ... {names}'[:width]}", end="", file=sys.stderr, flush=True)

    def clear(self) -> None:
        """Take the line of running steps away."""
        if self.watched:
            print("\r\033[K", end="", file=sys.stderr, flush=True)

    def say(self, text: str) -> None:
        """A line that stays."""
        self.clear()
        print(text, file=sys.stderr, flush=True)


def clock(seconds: float) -> str:
    """Minutes and seconds."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02}"


def count(number: int, thing: str) -> str:
    """A number of things in words."""
    return f"{number} {thing}" + ("" if number == 1 else "s")
