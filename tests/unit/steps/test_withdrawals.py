"""The search of a run for those who withdrew finds whoever is left, wherever it is."""

import duckdb
import pandas as pd
import pytest
import typst

from pipeline.intake.receive import receive_delivery
from pipeline.intake.report import format_problems
from pipeline.sources import ROOT
from pipeline.steps.withdrawals import UNUSED, main, search
from pipeline.warehouse import build_warehouse
from schemas.warehouse import SINGULAR
from tests.unit.intake.conftest import plain_tables, to_grids, write_csv
from tests.unit.intake.test_withdrawals import withdraw


def test_the_search_finds_whoever_is_left(plan, tmp_path):
    folder, tables = tmp_path / "S01" / "001", plain_tables()
    gone = tables["episodes"][0]["patient_id"]
    write_csv(folder, to_grids(tables))
    results = tmp_path / "results"
    for withdrawn in (False, True):
        if withdrawn:
            withdraw(folder, gone)
        received = receive_delivery(folder, plan)
        rows, page = (results / part / "S01" / "001" for part in ("rows", "intake"))
        for place in (rows, page):
            place.mkdir(parents=True, exist_ok=True)
        for name, table in received.tables.items():
            table.to_parquet(rows / f"{name}.parquet", index=False)
        (page / "problems.csv").write_text(format_problems(received), "utf-8")
        with build_warehouse(results / "warehouse.duckdb") as store:
            store.load_deliveries([rows])
        places = search(results, "S01", frozenset([gone.casefold()])).traces
        assert bool(places) != withdrawn
    (page / "problems.csv").write_text(f"episodes,2,{gone}\n", "utf-8")
    found = search(results, "S01", frozenset([gone.casefold()]))
    assert found.traces == ["intake/S01/001/problems.csv"]
    kept = [path for path in results.rglob("*") if path.is_file()]
    assert (found.tables, found.files, found.pdfs) == (len(SINGULAR), len(kept), 0)


LEFT = {
    "rows/S01/000/episodes.parquet": lambda path: pd.DataFrame(
        {"cells": ["a", '{"episode_id": "ep-0042"}', "~"]}).to_parquet(path, compression="gzip"),
    "sites/S01/report.html": lambda path: path.write_text("<p>Episode <b>EP-0042</b>.</p>"),
    "sites/S01/disagreements.csv": lambda path: path.write_text("episode_id\n'EP-0042\n"),
    "estimates/shares.csv": lambda path: path.write_text("note\nEP-0042\n"),
    "logs/store.log": lambda path: path.write_text("KeyError: 'EP-0042'"),
    "reports/committee.pdf": lambda path: path.write_bytes(typst.compile(b"Seen: EP-0042.")),
    "reports/committee.html": lambda path: path.write_text("<svg><text>EP-0042</text></svg>"),
}  # fmt: skip


@pytest.mark.parametrize("left", LEFT)
def test_the_search_reaches_every_file_but_those_of_other_sites(tmp_path, left):
    with build_warehouse(tmp_path / "warehouse.duckdb") as store:
        store.load_deliveries([])
    for path in (tmp_path / left, tmp_path / "rows" / "S02" / "001" / "problems.csv"):
        path.parent.mkdir(parents=True, exist_ok=True)
    (tmp_path / "rows" / "S02" / "001" / "problems.csv").write_text("EP-0042\n")
    assert search(tmp_path, "S01", frozenset(["EP-0042"])).traces == []
    LEFT[left](tmp_path / left)
    assert search(tmp_path, "S01", frozenset(["EP-0042"])).traces == [left]
    assert search(tmp_path, "S01", frozenset(["EP-0043", "EP-42"])).traces == []


def test_pages_of_the_store_that_no_table_uses_are_told_since_nobody_can_search_them(tmp_path):
    path, codes = tmp_path / "warehouse.duckdb", [f"EP-{k:06d}" for k in range(300_000)]
    with build_warehouse(path) as store:
        store.load_deliveries([])
    assert search(tmp_path, "S01", frozenset(["EP-0042"])).traces == []
    with duckdb.connect(str(path)) as connection:
        connection.register("given", pd.DataFrame({"code": codes}))
        for statement in (
            *("CREATE TABLE gone AS SELECT * FROM given", "CHECKPOINT"),
            *("CREATE TABLE kept AS SELECT * FROM given", "CHECKPOINT"),
            *("DROP TABLE gone", "CHECKPOINT"),
        ):
            connection.execute(statement)
    assert search(tmp_path, "S01", frozenset(["EP-0042"])).traces == [UNUSED]


@pytest.mark.parametrize("left", [False, True])
def test_the_run_ends_without_a_list_where_somebody_is_left(tmp_path, monkeypatch, left):
    sites, results = tmp_path / "pool", tmp_path / "results"
    for site, gone in (("S01", ["PT-1001", "PT-1002"]), ("S02", ["PT-2001"])):
        tables = plain_tables()
        tables["episodes"][0]["patient_id"] = gone[0]
        folder = write_csv(sites / site / "001", to_grids(tables))
        withdraw(folder, *gone)
    (results / "estimates").mkdir(parents=True)
    with build_warehouse(results / "warehouse.duckdb") as store:
        store.load_deliveries([])
    code = "PT-2001" if left else "PT-3001"
    (results / "estimates" / "shares.csv").write_text(f"note\n{code}\n", "utf-8")
    out = tmp_path / "withdrawals.csv"
    words = ["--plan", str(ROOT / "config"), "--results", str(results), "--out", str(out)]
    monkeypatch.setattr("sys.argv", ["step", *words, str(sites / "S01"), str(sites / "S02")])
    if left:
        with pytest.raises(SystemExit) as ended:
            main()
        assert ended.value.code == "1 places still hold somebody who withdrew: estimates/shares.csv"
        assert not out.exists()
    else:
        counts = {"lists searched for": 2, "patients_withdrawn": 3, "episodes_left_out": 2}
        assert main().items() >= counts.items()
        assert pd.read_csv(out)["site"].tolist() == ["S01", "S02"]
