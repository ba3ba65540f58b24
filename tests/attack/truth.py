"""Whether claims are right: the counts that were not released, read like the released ones.

Only tests may look here.
"""

from pathlib import Path

from tests.attack.program import Answer
from tests.attack.released import read_release
from tests.attack.system import Rule, System, build_system


def read_truth(results: Path) -> dict[str, int]:
    """The true count of each group that a table counts; sites have their codes, not letters."""
    truth = {}
    for row, reading in build_system(read_release(results, "unreleased")).readings:
        for value, group in ((row.n, reading.n), (row.events, reading.events)):
            if value and group and list(group.values()) == [1]:
                truth[next(iter(group))] = int(value.low)
    return truth


def list_wrong(answers: list[Answer], truth: dict[str, int]) -> list[Answer]:
    """The answers that the truth contradicts, of those whose groups it counts."""
    return [
        answer
        for answer in answers
        if not _holds(answer.question.total, answer.low, answer.high, truth)
    ]


def list_broken(system: System, truth: dict[str, int]) -> list[Rule]:
    """The equations that the truth contradicts."""
    return [
        rule for rule in system.rules.values() if not _holds(rule.total, rule.low, rule.high, truth)
    ]


def _holds(total: dict[str, float], low: float, high: float, truth: dict[str, int]) -> bool:
    known = set(total) <= truth.keys()
    return (
        not known
        or low - 1e-6 <= sum(times * truth[name] for name, times in total.items()) <= high + 1e-6
    )
