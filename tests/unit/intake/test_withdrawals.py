"""Who withdrew is nowhere: not stored, not set aside, in no list and no history; only the number of rows is left."""

import json

import pandas as pd
import pytest

from pipeline.intake.folders import list_deliveries
from pipeline.intake.receive import receive_delivery
from pipeline.intake.report import describe_intake, format_problems
from pipeline.render import render_page
from pipeline.steps.withdrawals import search
from pipeline.warehouse import build_warehouse
from schemas.delivery import TABLES
from schemas.store import KEPT
from tests.unit.intake.conftest import plain_tables, rules_of, to_grids, write_csv


def withdraw(folder, *codes: str, header: str = "patient_id") -> None:
    folder.parent.mkdir(parents=True, exist_ok=True)
    (folder.parent / "withdrawn.csv").write_text("\n".join([header, *codes]), "utf-8")


def all_text(received) -> str:
    tables = "".join(received.tables[name].to_csv() for name in [*TABLES, *KEPT])
    return tables + format_problems(received) + render_page("intake.html.j2", describe_intake(received))


@pytest.fixture
def gone(tables) -> tuple[str, str]:
    """The pseudonyms of the first patient and of the first episode."""
    return tables["episodes"][0]["patient_id"], tables["episodes"][0]["episode_id"]


def test_the_rows_vanish_and_are_counted(receive, tables, folder, gone):
    before = receive(tables)
    withdraw(folder, gone[0].lower(), "PT-NOBODY")
    after = receive(tables)
    assert after.accepted
    assert gone[0] in all_text(before)
    assert not any(code in all_text(after) for code in gone)
    theirs = [episode["episode_id"] for episode in tables["episodes"] if episode["patient_id"] == gone[0]]
    counts = after.tables["row_counts"].set_index("table")
    assert counts.loc["episodes", "rows_withdrawn"] == len(theirs)
    whole = counts[["rows_stored", "rows_set_aside", "rows_withdrawn", "rows_refused"]].sum(axis=1)
    assert whole.eq(counts["rows_in"]).all()
    for name in TABLES:
        kept = before.tables[name][~before.tables[name]["episode_id"].isin(theirs)]
        assert after.tables[name]["row"].tolist() == kept["row"].tolist()


def test_not_even_a_faulty_row_is_kept(receive, tables, folder, gone):
    tables["episodes"][0] |= {"sex": "femal", "onset_day": 99}
    tables["followups"] += [{**tables["followups"][0], "episode_id": gone[1], "dhi_total": 37}]
    assert json.dumps(gone[1]) in all_text(receive(tables)).replace('""', '"')
    withdraw(folder, gone[0])
    after = receive(tables)
    assert not any(code in all_text(after) for code in gone)
    assert not after.tables["set_aside"]["episode_id"].eq(gone[1]).any()


def test_the_history_does_not_tell_of_it(receive, tables, folder, gone):
    withdraw(folder, gone[0])
    first = receive(tables)
    second = receive(tables, previous=first)
    assert second.tables["changes"].empty


@pytest.mark.parametrize(
    ("header", "codes"), [("name", ["PT-1"]), ("patient_id,why", ["PT-1,moved"]), ("patient_id", ["PT-1,PT-2"])]
)
def test_a_list_that_is_unclear_refuses_the_delivery(receive, tables, folder, header, codes):
    withdraw(folder, *codes, header=header)
    received = receive(tables)
    assert not received.accepted
    assert rules_of(received) == {"withdrawals_unclear"}


def test_a_list_is_part_of_what_each_delivery_is_made_from(folder):
    write_csv(folder, to_grids(plain_tables()))
    withdraw(folder, "PT-1")
    (delivery,) = list_deliveries(folder.parent.parent)[0]
    assert folder.parent / "withdrawn.csv" in delivery.files


def test_the_search_finds_whoever_is_left(folder, tables, plan, tmp_path, gone):
    write_csv(folder, to_grids(tables))
    results = tmp_path / "results"
    for withdrawn in (False, True):
        if withdrawn:
            withdraw(folder, gone[0])
        received = receive_delivery(folder, plan)
        rows, page = (results / part / "S01" / "001" for part in ("rows", "intake"))
        for place in (rows, page):
            place.mkdir(parents=True, exist_ok=True)
        for name, table in received.tables.items():
            table.to_parquet(rows / f"{name}.parquet", index=False)
        (page / "problems.csv").write_text(format_problems(received), "utf-8")
        with build_warehouse(results / "warehouse.duckdb") as store:
            store.load_deliveries([rows])
        found = search(results, "S01", frozenset([gone[0].casefold()]))
        assert bool(found) != withdrawn
    (page / "problems.csv").write_text(f"episodes,2,{gone[0]}\n", "utf-8")
    assert search(results, "S01", frozenset([gone[0].casefold()])) == ["intake/S01/001/problems.csv"]
    assert isinstance(received.tables["episodes"], pd.DataFrame)
