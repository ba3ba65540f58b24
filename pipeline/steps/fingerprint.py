"""Say what the numbers were made from: the version, fingerprints of data, plan and code,
versions of libraries."""

import hashlib
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from pipeline import __version__
from pipeline.sources import ROOT, find_libraries, fingerprint_files, list_own_files
from pipeline.steps.arguments import add_path, start_parser
from pipeline.steps.run import Counts, run_step
from pipeline.warehouse import open_warehouse

RUNS_THE_STEPS = "snakemake"  # imported by no step, and used by all of them


def list_fingerprints(deliveries: pd.DataFrame, plan: Path) -> pd.DataFrame:
    """The version of the project, fingerprints of data, plan and code, versions of the libraries
    that our code imports and of what runs it: one row each, `name` and `value`."""
    current = deliveries[deliveries["is_current"]].sort_values("site")
    data = hashlib.sha256("".join(current["fingerprint"]).encode()).hexdigest()
    values = {
        "version": __version__,
        "deliveries": data,
        "plan": fingerprint_files(list(plan.glob("*.yaml")), plan),
        "code": fingerprint_files(list_own_files(), ROOT),
    }
    libraries = sorted({*find_libraries(), RUNS_THE_STEPS})
    return pd.DataFrame(
        (values | {name: version(name) for name in libraries}).items(), columns=["name", "value"]
    )


def main() -> Counts:
    """Read the command line and write one file."""
    parser = start_parser(__doc__)
    add_path(parser, "--warehouse", "file to read")
    add_path(parser, "--out", "file to write")
    arguments = parser.parse_args()
    with open_warehouse(arguments.warehouse) as warehouse:
        deliveries = warehouse.read("deliveries")
    list_fingerprints(deliveries, arguments.plan).to_csv(arguments.out, index=False)
    return {"deliveries": len(deliveries), "of them current": int(deliveries["is_current"].sum())}


if __name__ == "__main__":
    run_step(main)
