"""Deliveries taken in and stored as the workflow does it, without the workflow."""

from collections.abc import Iterable
from pathlib import Path

from pipeline.derivation.tables import DELIVERED, derive_tables
from pipeline.intake.receive import receive_delivery
from pipeline.warehouse import build_warehouse
from schemas.study import Config


def store_deliveries(deliveries: Iterable[Path], folder: Path, plan: Config) -> Path:
    """The warehouse of some deliveries, with all that is derived of them, in `folder`."""
    stored = []
    for number, path in enumerate(deliveries):
        stored.append(folder / f"rows_{number}")
        stored[-1].mkdir()
        for name, table in receive_delivery(path, plan, None).tables.items():
            table.to_parquet(stored[-1] / f"{name}.parquet", index=False)
    made = folder / "warehouse.duckdb"
    with build_warehouse(made) as warehouse:
        warehouse.load_deliveries(stored)
        delivered = {name: warehouse.read(name, current=True) for name in DELIVERED}
        for name, rows in derive_tables(delivered, plan).items():
            warehouse.insert(name, rows)
    return made
