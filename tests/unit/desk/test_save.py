"""What is saved from the page is what the workflow takes in."""

import io
import zipfile

import pytest
from openpyxl import load_workbook

from pipeline.desk.save import (
    NobodyWithdrew,
    NotSaved,
    make_withdrawn,
    make_workbook,
    pack_delivery,
)
from pipeline.intake.receive import receive_delivery
from pipeline.intake.withdrawals import read_withdrawn
from tests.desk_client import make_books
from tests.unit.intake.conftest import plain_tables, to_grids, write_csv


def test_the_workbook_has_the_site_filled_in(plan):
    maneuvers = {code: maneuver.name for code, maneuver in plan.maneuvers.items()}
    book = load_workbook(io.BytesIO(make_workbook(maneuvers, "S03")))
    fields = {row[0].value: row[1].value for row in book["submission"].iter_rows(min_row=2)}
    assert fields["site_code"] == "S03"
    assert fields["dictionary_version"]
    assert [book["episodes"].max_row, book["treatments"].max_row] == [1, 1]


def unpack(content: bytes, folder) -> list[str]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        archive.extractall(folder)
        return archive.namelist()


def test_a_workbook_is_packed_as_the_workflow_takes_it_in(plan, tmp_path):
    book = make_books(plan)["good"]
    names = unpack(pack_delivery("S99", "001", "workbook", {"mine.xlsx": book}), tmp_path)
    assert names == ["S99/001/S99_001.xlsx"]
    assert (tmp_path / names[0]).read_bytes() == book
    assert receive_delivery(tmp_path / "S99" / "001", plan).accepted


def test_tables_are_packed_under_their_names(plan, tmp_path):
    folder = write_csv(tmp_path / "S01" / "001", to_grids(plain_tables()))
    files = {path.name: path.read_bytes() for path in sorted(folder.iterdir())}
    names = unpack(pack_delivery("S01", "001", "csv", files), tmp_path / "out")
    assert names == [f"S01/001/{name}" for name in files]
    assert receive_delivery(tmp_path / "out" / "S01" / "001", plan).accepted


def test_the_same_delivery_is_packed_the_same():
    files = {"a.xlsx": b"x" * 1000}
    assert pack_delivery("S01", "001", "workbook", files) == pack_delivery(
        "S01", "001", "workbook", files
    )


@pytest.mark.parametrize(
    "text", ["PT-0042\nPT-0043", "pt-0042, PT-0043;PT-0042", "\r\n PT-0042 \r\n\r\nPT-0043"]
)
def test_the_list_is_read_as_it_is_meant(text, tmp_path):
    content = make_withdrawn(text, tmp_path)
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "withdrawn.csv").write_bytes(content)
    assert read_withdrawn(tmp_path) == (frozenset({"PT-0042", "PT-0043"}), [])


@pytest.mark.parametrize("text", ["Anna Meier", "PT-0042\n=1+1", '"', "PT-0042 <b>", "x" * 500])
def test_what_is_no_pseudonym_is_not_saved_and_not_repeated(text, tmp_path):
    with pytest.raises(NotSaved) as fault:
        make_withdrawn(text, tmp_path)
    assert "withdrew" in str(fault.value)
    assert not any(word in str(fault.value) for word in text.split() if len(word) > 3)


@pytest.mark.parametrize("text", ["", " \n", ",;"])
def test_an_empty_list_is_not_saved(text, tmp_path):
    with pytest.raises(NobodyWithdrew):
        make_withdrawn(text, tmp_path)
