"""Deliveries that must be read as those of the vignettes, or as no more than these: left and right
exchanged, rows in another order, and records with less in them."""

import csv
import random
import shutil
from collections.abc import Callable
from pathlib import Path

POOL = Path(__file__).parent / "pool"
SITES = tuple(sorted(path.name for path in POOL.iterdir()))
MIRRORED, SHUFFLED, THINNED = "1", "2", "3"  # what stands for the first digit of the site
SIDED = ("side", "torsion", "horizontal", "recorded_side")
OTHER_SIDE = {"right": "left", "left": "right"}
TIMES = ("latency_s", "duration_s", "peak_spv", "spv_at_40s")
SIGNS = ("vertical", "torsion", "horizontal", "vertigo")
SILENT = ("none", "")  # what a sign is that was not there; empty where the result is negative
Row = dict[str, str]
Change = Callable[[str, list[Row]], list[Row]]


def write_pool(folder: Path) -> None:
    """Write the vignettes and all their variants as deliveries under `folder`."""
    for site in SITES:
        shutil.copytree(POOL / site, folder / site)
        for digit, change in {
            MIRRORED: mirror,
            SHUFFLED: shuffle,
            THINNED: thin,
        }.items():
            _write_variant(site, name_variant(site, digit), folder, change)


def name_variant(site: str, digit: str) -> str:
    """The site that hands in a variant of another's records."""
    return f"S{digit}{site[-1]}"


def mirror(table: str, rows: list[Row]) -> list[Row]:
    """Right for left in every row."""
    return [
        row | {name: OTHER_SIDE.get(row[name], row[name]) for name in SIDED if name in row}
        for row in rows
    ]


def shuffle(table: str, rows: list[Row]) -> list[Row]:
    """The rows in another order."""
    return random.Random(table).sample(rows, len(rows))


def thin(table: str, rows: list[Row]) -> list[Row]:
    """Tests without times and velocities, and of these only the positive ones."""
    if table != "examinations":
        return rows
    return [
        row | dict.fromkeys(TIMES, "")
        for row in rows
        if any(row[sign] not in SILENT for sign in SIGNS)
    ]


def _write_variant(site: str, variant: str, folder: Path, change: Change) -> None:
    for path in sorted((POOL / site).rglob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            read = csv.DictReader(file)
            columns, rows = list(read.fieldnames or ()), list(read)
        if path.stem == "submission":
            rows = [
                row | ({"value": variant} if row["field"] == "site_code" else {}) for row in rows
            ]
        else:
            rows = change(path.stem, rows)
        target = folder / variant / path.parent.name / path.name
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, columns, lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
