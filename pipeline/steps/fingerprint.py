"""Say what the numbers were made from: the version, fingerprints of data, plan and code,
versions of libraries."""

import hashlib
from collections import Counter
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from pipeline import __version__
from pipeline.results import fingerprint
from pipeline.sources import find_libraries, fingerprint_code, fingerprint_plan
from pipeline.steps.arguments import add_path, start_parser
from pipeline.steps.run import Counts, run_step
from pipeline.warehouse import open_warehouse
from schemas.notes import FIRST_YEAR, LAST_YEAR
from schemas.study import read_config

RUNS_THE_STEPS = "snakemake"  # imported by no step, and used by all of them


def list_fingerprints(
    deliveries: pd.DataFrame, plan: Path, withdrawn: Sequence[Path] = ()
) -> pd.DataFrame:
    """The version of the project, the years of the records, fingerprints of data, plan and code,
    versions of the libraries that our code imports and of what runs it: one row each, `name` and
    `value`.

    The data are the current deliveries and the lists of those who withdrew (`withdrawn`, in order
    of their sites): whoever is on one is in no number, although no delivery changed.
    """
    current = deliveries[deliveries["is_current"]].sort_values("site")
    parts = [*current["fingerprint"], *map(fingerprint, withdrawn)]
    data = hashlib.sha256("".join(parts).encode()).hexdigest()
    values = {
        "version": __version__,
        **_find_years(current, read_config(plan).study.disclosure.min_sites),
        "deliveries": data,
        "plan": fingerprint_plan(plan),
        "code": fingerprint_code(),
    }
    libraries = sorted({*find_libraries(), RUNS_THE_STEPS})
    return pd.DataFrame(
        (values | {name: version(name) for name in libraries}).items(), columns=["name", "value"]
    )


def _find_years(deliveries: pd.DataFrame, min_sites: int) -> dict[str, str]:
    """The first and the last year of the records, as sites declare them, of the years that
    `min_sites` or more of them have: a year of fewer would show these sites."""
    known = deliveries.dropna(subset=["first_year", "last_year"])
    years = Counter(
        year
        for first, last in zip(known["first_year"], known["last_year"], strict=True)
        for year in range(int(first), int(last) + 1)
    )
    shared = sorted(year for year, sites in years.items() if sites >= min_sites)
    return {FIRST_YEAR: str(shared[0]), LAST_YEAR: str(shared[-1])} if shared else {}


def main() -> Counts:
    """Read the command line and write one file."""
    parser = start_parser(__doc__)
    add_path(parser, "--warehouse", "file to read")
    add_path(parser, "--out", "file to write")
    parser.add_argument("withdrawn", type=Path, nargs="*", help="lists of those who withdrew")
    arguments = parser.parse_args()
    with open_warehouse(arguments.warehouse) as warehouse:
        deliveries = warehouse.read("deliveries")
    made_from = list_fingerprints(deliveries, arguments.plan, arguments.withdrawn)
    made_from.to_csv(arguments.out, index=False)
    return {"deliveries": len(deliveries), "of them current": int(deliveries["is_current"].sum())}


if __name__ == "__main__":
    run_step(main)
