"""Tries the corpora on the intake: `python -m tests.corpus --help`."""

import argparse
import contextlib
import json
import multiprocessing
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.corpus.base import make_tables
from tests.corpus.case import KINDS, Case, draw_for
from tests.corpus.catalogue import list_cases
from tests.corpus.delivery import Delivery
from tests.corpus.judge import Outcome, judge_traps, try_cases
from tests.corpus.tables import print_tables
from tests.corpus.trial import warm_up

BATCH = 20
SHARES = {"identifiers": 12, "clean": 4, "messy": 3, "first": 1}
CASES: list[Case] = []


def main() -> None:
    """Read the command line, try the cases, print how it went."""
    parser = argparse.ArgumentParser(prog="python -m tests.corpus", description=__doc__)
    parser.add_argument(
        "--held", type=Path, help="folder with the half that is held back: tries that half instead"
    )
    parser.add_argument(
        "--kind", choices=KINDS, action="append", help="only this corpus (may be given again)"
    )
    parser.add_argument("--match", default="", help="only cases whose name holds this")
    parser.add_argument(
        "--sample", type=int, default=0, help="about this many cases, spread over all groups"
    )
    parser.add_argument(
        "--check-every",
        type=int,
        default=4,
        help="run the check on every so manieth identifier and clean case",
    )
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--out", type=Path, help="also write one line of JSON a case")
    parser.add_argument("--list", action="store_true", help="only name the cases")
    parser.add_argument("--show", action="store_true", help="print what each case's check said")
    words = parser.parse_args()
    CASES.extend(choose(list_cases(words.kind or KINDS, words.held), words.match, words.sample))
    if words.list:
        print("\n".join(f"{case.kind}\t{case.group}\t{case.name}" for case in CASES))
        return
    outcomes: list[Outcome] = []
    # stopped early: the tables show what was tried so far
    with contextlib.suppress(KeyboardInterrupt):
        for batch in try_all(words.jobs, words.check_every):
            outcomes += batch
            print(f"{len(outcomes)} of {len(CASES)} cases", file=sys.stderr)
    judge_traps(outcomes)
    print_tables(outcomes)
    if words.show:
        for outcome in outcomes:
            print(
                f"\n=== {outcome.case.name}: {outcome.status} {outcome.rules} {outcome.found}\n"
                f"{outcome.said}"
            )
    if words.out:
        words.out.write_text(
            "".join(
                json.dumps(outcome.describe(), ensure_ascii=False) + "\n" for outcome in outcomes
            ),
            "utf-8",
        )


def choose(cases: list[Case], match: str, sample: int) -> list[Case]:
    """The cases whose name holds `match`, or about `sample` of them; with each trap its control."""
    chosen = [case for case in cases if match in case.name]
    if sample:
        kinds = {case.kind for case in chosen}
        whole = sum(SHARES[kind] for kind in kinds)
        chosen = [
            case
            for kind in sorted(kinds)
            for case in spread(
                [case for case in chosen if case.kind == kind], round(sample * SHARES[kind] / whole)
            )
        ]
    there = {case.name for case in chosen}
    needed = {
        f"control/{case.trap.table}.{case.trap.column}" for case in chosen if case.trap
    } - there
    return chosen + [case for case in cases if case.name in needed]


def spread(cases: list[Case], number: int) -> list[Case]:
    """So many cases of one kind, the same ones each time, from all groups in turn."""
    groups: dict[str, list[Case]] = {}
    for case in sorted(cases, key=lambda case: draw_for(case.name).random()):
        if case.group != "control":
            groups.setdefault(case.group, []).append(case)
    longest = max(map(len, groups.values()), default=0)
    return [group[at] for at in range(longest) for group in groups.values() if at < len(group)][
        :number
    ]


def try_all(jobs: int, check_every: int) -> Iterator[list[Outcome]]:
    """Try all of CASES, in batches, in so many processes."""
    scratch = Path(tempfile.mkdtemp(prefix="corpus-"))
    try:
        warm = [
            Delivery(make_tables(f"S1{n}"), form).write(scratch / "warm")
            for n, form in enumerate(("csv", "xlsx"))
        ]
        warm_up(warm)
        tasks = [(start, check_every, scratch) for start in range(0, len(CASES), BATCH)]
        with multiprocessing.get_context("fork").Pool(jobs, maxtasksperchild=10) as pool:
            yield from pool.imap(_try_batch, tasks)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _try_batch(task: tuple[int, int, Path]) -> list[Outcome]:
    start, check_every, scratch = task
    cases = CASES[start : start + BATCH]
    checked = [
        case.kind in ("messy", "first") or (start + n) % check_every == 0
        for n, case in enumerate(cases)
    ]
    folder = scratch / str(start)
    outcomes = try_cases(cases, folder, checked)
    shutil.rmtree(folder)
    for outcome, case in zip(outcomes, cases, strict=True):
        outcome.case = case.stripped()
    return outcomes


if __name__ == "__main__":
    main()
