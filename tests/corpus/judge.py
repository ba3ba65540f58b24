"""What came of a case: read from what the intake wrote and printed, never from its code."""

import shutil
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pyarrow.parquet as pq

from tests.corpus.case import Case
from tests.corpus.delivery import Delivery
from tests.corpus.search import Text, read_marked, read_written
from tests.corpus.told import find_missing, find_wrong, find_wrong_reading, read_stored
from tests.corpus.trial import Run, run_check, run_intake

EXPECTED_CODES = {"accepted": 0, "set aside": 1, "refused": 2}


@dataclass
class Outcome:
    """What came of a case.

    `status` is `accepted`, `set aside` if some rows are, `refused`, or `nothing` if nothing was
    written; `rules` those that refused, `found` where planted values stand, `said` what the check
    said.
    """

    case: Case
    status: str = "nothing"
    rules: tuple[str, ...] = ()
    found: list[str] = field(default_factory=list)
    crashed: list[str] = field(default_factory=list)
    said: str = ""
    page: str = ""
    check: Run | None = None
    disagrees: str = ""
    missing: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    stored: set[str] = field(default_factory=set)

    def describe(self) -> dict:
        """The outcome as plain values, for a line of JSON."""
        named = {
            "kind": self.case.kind,
            "name": self.case.name,
            "group": self.case.group,
            "detail": self.case.detail,
        }
        fields = {
            "disagrees": self.disagrees,
            "missing": self.missing,
            "wrong": self.wrong,
            "said": self.said,
        }
        return {
            **named,
            "status": self.status,
            "rules": self.rules,
            "found": self.found,
            "crashed": self.crashed,
            **fields,
        }


def try_cases(cases: Sequence[Case], root: Path, checked: Sequence[bool]) -> list[Outcome]:
    """Build the deliveries below `root`, take them in together, and look at each; `checked`:
    whether to check."""
    built = [case.build(f"S{100 + number}") for number, case in enumerate(cases)]
    folders = [[delivery.write(root / "in") for delivery in deliveries] for deliveries in built]
    taken = [
        folder
        for each, case in zip(folders, cases, strict=True)
        for folder in each
        if not case.skipped
    ]
    results = root / "results"
    run = run_intake(taken, results, 60 + 5 * len(taken))
    outcomes = []
    for case, deliveries, written, check in zip(cases, built, folders, checked, strict=True):
        alone = run
        if run.crashed:
            shutil.rmtree(results / "rows" / deliveries[-1].site, ignore_errors=True)
            alone = run_intake(written, results)
        outcomes.append(_judge(case, deliveries[-1], written[-1], results, alone))
        if check:
            _try_check(outcomes[-1], deliveries[-1], written[-1], root / "copies")
    return outcomes


def _judge(case: Case, delivery: Delivery, folder: Path, results: Path, run: Run) -> Outcome:
    outcome = Outcome(case)
    if run.crashed:
        outcome.crashed.append("workflow")
    site, number = folder.parent.name, folder.name
    rows = results / "rows" / site / number
    if (rows / "deliveries.parquet").exists():
        outcome.status = pq.read_table(rows / "deliveries.parquet").column("status")[0].as_py()
        problems = pq.read_table(rows / "problems.parquet").to_pylist()
        outcome.rules = tuple(
            dict.fromkeys(row["rule"] for row in problems if row["severity"] == "refuse")
        )
        if outcome.status == "accepted" and pq.read_table(rows / "set_aside.parquet").num_rows:
            outcome.status = "set aside"
        outcome.page = (results / "intake" / site / number / "report.html").read_text("utf-8")
        if outcome.case.trap:
            outcome.stored = read_stored(rows, outcome.case.trap)
    texts = {
        **read_written(results, site, number),
        "quoted: terminal of the workflow": Text(run.text),
    }
    outcome.found = [place for place, text in texts.items() if any(map(text.holds, case.needles))]
    return outcome


def _try_check(outcome: Outcome, delivery: Delivery, folder: Path, copies: Path) -> None:
    copied = copies / folder.parent.name
    shutil.copytree(folder.parent, copied)
    place = outcome.case.path(delivery) if outcome.case.path else folder.name
    before = set(copies.rglob("*"))
    outcome.check = run = run_check(copied / place, *([] if outcome.case.trap else ["--mark"]))
    outcome.said = run.text
    if run.crashed:
        outcome.crashed.append("check")
    if any(map(Text(run.text).holds, outcome.case.needles)):
        outcome.found.append("quoted: terminal of the check")
    for path in sorted(set(copies.rglob("*.xlsx")) - before):
        try:
            marked = read_marked(
                path,
                copied
                / folder.name
                / (delivery.file_name or f"{delivery.site}_{folder.name}.xlsx"),
            )
        except Exception as error:
            outcome.crashed.append(f"marked copy ({type(error).__name__})")
            continue
        outcome.said += marked.plain
        if any(map(marked.holds, outcome.case.needles)):
            outcome.found.append("quoted: marked copy")
    if not (outcome.case.silent and run.code == 0):
        outcome.missing = find_missing(outcome.case, outcome.said)
    outcome.wrong = find_wrong(outcome.case, run.text)
    expected = EXPECTED_CODES.get(outcome.status, 3)
    if run.code != expected and not run.crashed:
        outcome.disagrees = f"workflow: {outcome.status}, check: exit code {run.code}"


def judge_traps(outcomes: Sequence[Outcome]) -> None:
    """Compare what was said of each trap with what was said of a nonsense word in the same
    column."""
    controls = {
        outcome.case.name.removeprefix("control/"): outcome.said
        for outcome in outcomes
        if outcome.case.group == "control"
    }
    for outcome in outcomes:
        trap = outcome.case.trap
        if trap and outcome.case.group != "control":
            outcome.wrong = find_wrong_reading(
                trap, outcome.said, controls[f"{trap.table}.{trap.column}"], outcome.stored
            )
