"""Count: where the episodes went, who is in the pool, the cases kept apart, why first maneuvers failed, what it was made from."""

import argparse
import hashlib
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from pipeline.models.counts import count_flow, describe_non_positional, describe_pool
from pipeline.models.failure_reasons import estimate_failure_reasons
from pipeline.sources import ROOT, fingerprint_files
from pipeline.steps.run import run_step
from pipeline.warehouse import open_warehouse
from schemas.study import read_config

LIBRARIES = ("duckdb", "matplotlib", "numpy", "pandas", "pandera", "snakemake")


def list_fingerprints(deliveries: pd.DataFrame, plan: Path) -> pd.DataFrame:
    """Fingerprints of data, plan and code, and the versions of the main libraries: one row each, `name` and `value`."""
    current = deliveries[deliveries["is_current"]].sort_values("site")
    data = hashlib.sha256("".join(current["fingerprint"]).encode()).hexdigest()
    code = [
        p
        for room in ("schemas", "pipeline", "reports")
        for p in (ROOT / room).rglob("*")
        if p.suffix in (".py", ".j2", ".css")
    ]
    values = {
        "deliveries": data,
        "plan": fingerprint_files(list(plan.glob("*.yaml")), plan),
        "code": fingerprint_files([*code, ROOT / "Snakefile"], ROOT),
    }
    return pd.DataFrame((values | {name: version(name) for name in LIBRARIES}).items(), columns=["name", "value"])


def main() -> None:
    """Read the command line, count, and write one file an analysis."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=Path, required=True, help="folder with the plan")
    parser.add_argument("--warehouse", type=Path, required=True, help="file to read")
    parser.add_argument("--out", type=Path, required=True, help="folder to write to")
    arguments = parser.parse_args()
    with open_warehouse(arguments.warehouse) as warehouse:
        deliveries, row_counts, adjudications, spells, attempts, reasons = map(
            warehouse.read, ("deliveries", "row_counts", "adjudications", "spells", "attempts", "failure_reasons")
        )
        episodes = warehouse.read("episodes", current=True)
    tables = {
        "episode_flow": count_flow(row_counts, deliveries, adjudications, spells),
        "pool_description": describe_pool(episodes, adjudications, attempts),
        "non_positional": describe_non_positional(adjudications, attempts),
        "failure_reasons": estimate_failure_reasons(reasons, read_config(arguments.plan).study.curves.min_episodes),
        "fingerprints": list_fingerprints(deliveries, arguments.plan),
    }
    for name, rows in tables.items():
        rows.to_csv(arguments.out / f"{name}.csv", index=False)


if __name__ == "__main__":
    run_step(main)
