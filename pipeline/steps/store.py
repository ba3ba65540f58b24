"""Store everything that was received, decide what it means, and write the rows that the models see: one warehouse, whole or not at all."""

import argparse
from pathlib import Path

import pandas as pd

from pipeline.clinic.adjudicate import adjudicate_episodes
from pipeline.clinic.failure import Record, explain_failures
from pipeline.clinic.findings import EPISODE, describe_looks
from pipeline.derive.attempts import list_attempts
from pipeline.derive.spells import measure_spells
from pipeline.derive.states import find_states, keep_until_reclassified, mark_confirming, select_deciding_looks
from pipeline.steps.run import run_step
from pipeline.warehouse import Warehouse, build_warehouse
from schemas.study import Config, read_config

DECIDING_TABLES = ["examinations", "treatments"]


def derive_all(warehouse: Warehouse, config: Config) -> None:
    """Fill the derived tables from the current deliveries."""
    episodes, examinations, treatments, followups, set_aside = (
        warehouse.read(name, current=True)
        for name in ("episodes", "examinations", "treatments", "followups", "set_aside")
    )
    criteria, resolution = config.criteria, config.study.resolution
    findings = describe_looks(examinations, treatments, criteria.duration)
    adjudications = adjudicate_episodes(episodes, examinations, findings, treatments, followups, criteria)
    looks = select_deciding_looks(examinations, findings, adjudications, criteria)
    looks["confirming"] = mark_confirming(looks, treatments, config.maneuvers, resolution.confirmation_day)
    contacts = keep_until_reclassified(followups, adjudications)
    contacts = contacts.assign(after_attempt=pd.array([pd.NA] * len(contacts), dtype="Int64"))
    contacts["confirming"] = mark_confirming(contacts, treatments, config.maneuvers, resolution.confirmation_day)
    treated = pd.MultiIndex.from_frame(treatments[EPISODE].drop_duplicates())
    holes = set_aside[set_aside["table"].isin(DECIDING_TABLES) & set_aside["episode_id"].notna()]
    incomplete = pd.MultiIndex.from_frame(holes[EPISODE].drop_duplicates())
    spells = measure_spells(episodes, looks, contacts, treated, incomplete, resolution)
    attempts = list_attempts(episodes, treatments, looks, find_states(looks), config.maneuvers)
    record = Record(episodes, examinations, treatments, followups, findings, adjudications, attempts, spells)
    for name, rows in {
        "findings": findings,
        "adjudications": adjudications,
        "spells": spells,
        "attempts": attempts,
        "failure_reasons": explain_failures(record, criteria, config.maneuvers, config.failure),
    }.items():
        warehouse.insert(name, rows)


def main() -> None:
    """Read the command line and build the warehouse."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--plan", type=Path, required=True, help="folder with study.yaml, criteria.yaml and maneuvers.yaml"
    )
    parser.add_argument("--warehouse", type=Path, required=True, help="file to write")
    parser.add_argument("deliveries", type=Path, nargs="*", help="folders that intake wrote, one a delivery")
    arguments = parser.parse_args()
    with build_warehouse(arguments.warehouse) as warehouse:
        warehouse.load_deliveries(arguments.deliveries)
        derive_all(warehouse, read_config(arguments.plan))


if __name__ == "__main__":
    run_step(main)
