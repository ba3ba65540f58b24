"""The store: typed, keyed, described; whole or not at all."""

import os
import signal
import subprocess
import sys
import textwrap

import duckdb
import pandas as pd
import pytest

from pipeline.warehouse import KeyTwice, build_warehouse, open_warehouse
from schemas.columns import Text
from schemas.delivery import TABLES
from schemas.store import KEPT, Provenance
from schemas.warehouse import SINGULAR, columns_of


def leave_delivery(folder, number: str, episodes: pd.DataFrame, status: str = "accepted"):
    """Parquet files as intake leaves them for one delivery of S01."""
    folder = folder / number
    folder.mkdir(parents=True)
    source = pd.DataFrame(
        {
            "site": "S01",
            "delivery": number,
            "row": range(2, len(episodes) + 2),
            "source_sha256": "0" * 64,
        }
    )
    stored = pd.concat([source, episodes.drop(columns="site")], axis=1)
    tables = {name: Provenance.empty().join(model.empty()) for name, model in TABLES.items()} | {
        "episodes": stored
    }
    tables |= {name: model.empty() for name, model in KEPT.items()}
    delivery = {
        "site": "S01",
        "delivery": number,
        "status": status,
        "is_current": False,
        "form": "csv",
        "fingerprint": "0",
    }
    tables["deliveries"] = KEPT["deliveries"].cast(
        pd.DataFrame([delivery]).reindex(columns=list(KEPT["deliveries"].describe()))
    )
    for name, rows in tables.items():
        rows.to_parquet(folder / f"{name}.parquet", index=False)
    return folder


@pytest.fixture
def stored(tmp_path, table):
    """A warehouse of two accepted deliveries and a refused third."""
    folders = [
        leave_delivery(tmp_path, "001", table("episodes", [{}])),
        leave_delivery(tmp_path, "002", table("episodes", [{}, {"episode_id": "EP-2"}])),
        leave_delivery(tmp_path, "003", table("episodes", []), status="refused"),
    ]
    with build_warehouse(tmp_path / "w.duckdb") as warehouse:
        warehouse.load_deliveries(folders)
    return tmp_path / "w.duckdb"


def test_the_highest_accepted_delivery_is_current_and_earlier_ones_stay(stored):
    with open_warehouse(stored) as warehouse:
        assert warehouse.read("deliveries").set_index("delivery")["is_current"].to_dict() == {
            "001": False,
            "002": True,
            "003": False,
        }
        assert len(warehouse.read("episodes")) == 3
        assert warehouse.read("episodes", current=True)["episode_id"].tolist() == ["EP-1", "EP-2"]


def test_an_all_empty_column_keeps_its_type(stored):
    with open_warehouse(stored) as warehouse:
        rows = warehouse.read("episodes", current=True)
    assert {name: d.dtype for name, d in columns_of("episodes").items()} == rows.dtypes.to_dict()
    assert isinstance(rows["arm_basis"].dtype, Text)


def test_every_column_has_a_comment_and_every_table_a_key(stored):
    with duckdb.connect(str(stored), read_only=True) as connection:
        uncommented = connection.execute(
            "SELECT count(*) FROM duckdb_columns() WHERE comment IS NULL AND NOT internal"
        ).fetchone()[0]
        keyed = connection.execute(
            "SELECT count(*) FROM duckdb_constraints() WHERE constraint_type = 'PRIMARY KEY'"
        ).fetchone()[0]
    assert uncommented == 0
    assert keyed == len(SINGULAR)


def test_a_key_that_comes_twice_is_a_fault_that_shows_no_value(tmp_path, table):
    folder = leave_delivery(tmp_path, "001", table("episodes", [{"episode_id": "EP-SECRET"}] * 2))
    with pytest.raises(KeyTwice) as fault, build_warehouse(tmp_path / "w.duckdb") as warehouse:
        warehouse.load_deliveries([folder])
    assert "SECRET" not in str(fault.value)
    assert list(tmp_path.glob("w.duckdb*")) == []


def test_killed_in_the_middle_the_old_warehouse_is_whole(stored):
    before = stored.read_bytes()
    script = f"""
        import os, signal
        from pathlib import Path
        from pipeline.warehouse import build_warehouse
        with build_warehouse(Path({str(stored)!r})) as warehouse:
            os.kill(os.getpid(), signal.SIGKILL)
    """
    ended = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script)],
        env=os.environ | {"PYTHONPATH": os.getcwd()},
        check=False,
    )
    assert ended.returncode == -signal.SIGKILL
    assert stored.read_bytes() == before
    with build_warehouse(stored):
        pass
    with open_warehouse(stored) as warehouse:
        assert warehouse.read("episodes").empty


@pytest.mark.skipif(os.name == "nt", reason="files have no limit of size there")
@pytest.mark.parametrize("most", [20_000, 200_000])
def test_without_room_the_old_warehouse_stays_and_nothing_is_left_beside_it(stored, most):
    before = stored.read_bytes()
    script = f"""
        import resource
        from pathlib import Path
        from pipeline.warehouse import build_warehouse
        resource.setrlimit(resource.RLIMIT_FSIZE, ({most}, resource.RLIM_INFINITY))
        with build_warehouse(Path({str(stored)!r})):
            pass
    """
    ended = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script)],
        env=os.environ | {"PYTHONPATH": os.getcwd()},
        stderr=subprocess.DEVNULL,
        check=False,
    )
    assert ended.returncode == 1
    assert stored.read_bytes() == before
    assert list(stored.parent.glob("*building*")) == []
