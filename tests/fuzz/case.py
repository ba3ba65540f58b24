"""One broken delivery, the same from the same seed."""

import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.corpus.base import make_tables
from tests.corpus.delivery import Delivery
from tests.fuzz.bytes_and_zip import break_archive, break_bytes
from tests.fuzz.cells import TABLES_AND_FORM

KINDS = ("cells", "bytes", "archive", "both")
SITE = "S11"


@dataclass(frozen=True)
class Case:
    """A delivery as it was written.

    Attributes
    ----------
    seed, kind, form
        What it was drawn from, what was broken, and whether it is a workbook or .csv files.
    folder
        Where it lies, as <site>/<delivery>; None where the break cannot be written to a file.
    """

    seed: int
    kind: str
    form: str
    folder: Path | None


def write_case(seed: int, root: Path) -> Case:
    """Draw a valid delivery, break it in one to three places, and write it."""
    draw = random.Random(seed)
    kind, form = KINDS[seed % len(KINDS)], draw.choice(("csv", "xlsx"))
    delivery = Delivery(make_tables(SITE), form)
    if kind in ("cells", "both"):
        for _ in range(draw.choice((1, 1, 2, 3))):
            draw.choice(TABLES_AND_FORM)(delivery, draw)
    try:
        folder = delivery.write(root)
    except (ValueError, UnicodeError, KeyError, TypeError):  # no program would write this
        return Case(seed, kind, form, None)
    if kind != "cells":
        files = sorted(path for path in folder.iterdir() if path.is_file())
        for _ in range(draw.choice((1, 1, 2, 3))):
            file = draw.choice(files)
            change = choose_break(kind, form, draw)
            file.write_bytes(change(file.read_bytes(), draw))
    return Case(seed, kind, form, folder)


def choose_break(
    kind: str, form: str, draw: random.Random
) -> Callable[[bytes, random.Random], bytes]:
    """What is done to a file: an archive is mostly broken within."""
    if form == "csv" or kind == "bytes":
        return break_bytes
    return draw.choice((break_archive, break_archive, break_archive, break_bytes))
