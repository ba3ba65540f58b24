"""Which entries stand here for everybody to look at, and which are held back: decided by a hash,
for good."""

import csv
import hashlib
import importlib.util
from pathlib import Path

DATA = Path(__file__).parent / "data"


def is_open(kind: str, name: str) -> bool:
    """Whether an entry of that kind is open: half of all data, variants and slips,
    and three of four places."""
    first = hashlib.sha256(f"{kind}/{name}".encode()).digest()[0]
    return first % 4 != 0 if kind == "place" else first % 2 == 0


def read_entries(name: str, held_out: Path | None = None) -> list[dict[str, str]]:
    """The rows of one data file: the open ones, or those held back in `held_out`/data.

    The first column names an entry.
    """
    path = (held_out / "data" if held_out else DATA) / f"{name}.csv"
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def load_held_code(held_out: Path) -> None:
    """Run the modules of `held_out`/code, which register places,
    variants and slips beside the open ones."""
    for path in sorted((held_out / "code").glob("*.py")):
        spec = importlib.util.spec_from_file_location(f"held_{path.stem}", path)
        spec.loader.exec_module(importlib.util.module_from_spec(spec))
