"""Whether a person was told what is wrong, and nothing that is not."""

import re
from pathlib import Path

import pyarrow.parquet as pq

from tests.corpus.case import Case, Trap

BULLET = re.compile(r"^\s*(?:[*•–-]|\d+[.)])\s", re.M)


def find_missing(case: Case, message: str) -> list[str]:
    """The facts that were not told."""
    return [fact for fact in case.told if not re.search(fact, _flat(message), re.I)]


def find_wrong(case: Case, message: str) -> list[str]:
    """What was told and should not have been, or was scattered over too many entries of the
    list."""
    wrong = [f"told: {words}" for words in case.never if re.search(words, _flat(message), re.I)]
    blocks = len(BULLET.findall(message))
    return wrong + ([f"{blocks} blocks"] if case.blocks and blocks > case.blocks else [])


def find_wrong_reading(trap: Trap, message: str, control: str, stored: set[str]) -> list[str]:
    """Whether the wrong code was stored, or suggested (named more often than for nonsense)
    without the right ones."""
    if trap.wrong in stored:
        return [f"stored as {trap.wrong}"]
    suggested = {
        code: _mentions(message, code, trap.entry) > _mentions(control, code, "")
        for code in (trap.wrong, *trap.right)
    }
    if suggested.pop(trap.wrong) and not (trap.wrong in trap.right and all(suggested.values())):
        return [f"suggested {trap.wrong}"]
    return []


def read_stored(rows: Path, trap: Trap) -> set[str]:
    """What the two rows of a trap were stored as, if they were."""
    table = pq.read_table(rows / f"{trap.table}.parquet", columns=["row", trap.column]).to_pylist()
    return {
        row[trap.column] for row in table if row["row"] in (4, 7) and row[trap.column] is not None
    }


def _mentions(message: str, code: str, entry: str) -> int:
    text = _flat(message).casefold()
    if entry:
        text = re.sub(rf"(?<!\w){re.escape(entry.casefold())}(?!\w)", " ", text)
    return len(re.findall(rf"(?<![\w-]){re.escape(code)}(?![\w-])", text))


def _flat(message: str) -> str:
    return re.sub(r"\s+", " ", message)
