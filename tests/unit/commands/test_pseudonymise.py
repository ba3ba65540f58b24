"""`pseudonymise` at a terminal: what a site makes with it holds none of its numbers,
comes out the same again, and passes the gate."""

import csv
import stat
import sys

import pandas as pd
import pytest
from openpyxl import Workbook, load_workbook

from pipeline.__main__ import main
from pipeline.intake.pseudonyms import judge_pseudonyms

NUMBERS = [f"{4_711_000 + 13 * n}" for n in range(60)]


@pytest.fixture
def pseudonymise(monkeypatch):
    """A function from the words after the tool's name to how it ends, None for well."""

    def run(*words) -> str | int | None:
        monkeypatch.setattr(sys, "argv", ["run", "pseudonymise", *map(str, words)])
        try:
            return main()
        except SystemExit as end:
            return end.code

    return run


@pytest.fixture
def records(tmp_path):
    """A table of a site's own with two headers of numbers."""
    path = tmp_path / "records.csv"
    rows = [
        ["Case no", "Patient no", "canal"],
        *([n, NUMBERS[k // 2], "posterior"] for k, n in enumerate(NUMBERS)),
    ]
    path.write_text("\n".join(",".join(row) for row in rows), "utf-8")
    return path


def replace(records, key="site.key"):
    return [
        records,
        "--replace",
        "Case no=episode_id",
        "--replace",
        "Patient no=patient_id",
        "--key",
        records.with_name(key),
    ]


def read(path) -> list[list[str]]:
    return list(csv.reader(path.read_text("utf-8-sig").splitlines()))


def test_no_number_of_the_site_is_left_and_the_rest_stays(pseudonymise, records):
    assert pseudonymise(*replace(records)) is None
    made = records.with_name("records_pseudonyms.csv")
    assert not [number for number in NUMBERS if number in made.read_text("utf-8-sig")]
    table = pd.DataFrame(read(made)[1:], columns=read(made)[0])
    assert list(table) == ["episode_id", "patient_id", "canal"]
    assert table["canal"].eq("posterior").all()
    assert table["episode_id"].nunique() == 60
    assert table.groupby("patient_id").size().eq(2).all()
    assert [
        row[1]
        for row in read(records.with_name("records_key_list.csv"))[1:]
        if row[0] == "episode_id"
    ] == NUMBERS


def test_the_gate_takes_them_for_pseudonyms(pseudonymise, records):
    pseudonymise(*replace(records))
    made = read(records.with_name("records_pseudonyms.csv"))[1:]
    for column in (0, 1):
        judged = judge_pseudonyms([row[column] for row in made])
        assert (judged.column_rule, judged.broken, judged.texts) == ("", 0, {})


def test_the_same_key_gives_the_same_and_another_one_others(pseudonymise, records):
    again = records.with_name("again.csv")
    again.write_bytes(records.read_bytes())
    other = records.with_name("other.csv")
    other.write_bytes(records.read_bytes())
    assert (
        pseudonymise(*replace(records))
        is pseudonymise(*replace(again))
        is pseudonymise(*replace(other, "other.key"))
        is None
    )
    first, second, third = (
        read(records.with_name(f"{name}_pseudonyms.csv")) for name in ("records", "again", "other")
    )
    assert first == second
    assert not {row[0] for row in first[1:]} & {row[0] for row in third[1:]}


def test_key_and_key_list_are_the_owners_only(pseudonymise, records):
    pseudonymise(*replace(records))
    for name in ("site.key", "records_key_list.csv"):
        assert stat.S_IMODE(records.with_name(name).stat().st_mode) == 0o600


def test_a_workbook_keeps_its_values_and_nothing_else(pseudonymise, tmp_path):
    book = Workbook()
    book.properties.creator = "Somebody"
    book.active.append(["Patient no", "angle"])
    for number in NUMBERS:
        book.active.append([int(number), 45])
    book.save(tmp_path / "records.xlsx")
    message = pseudonymise(
        tmp_path / "records.xlsx", "--replace", "Patient no=patient_id", "--key", tmp_path / "k"
    )
    assert message is None
    made = load_workbook(tmp_path / "records_pseudonyms.xlsx")
    rows = list(made.active.iter_rows(values_only=True))
    assert rows[0] == ("patient_id", "angle")
    assert {row[1] for row in rows[1:]} == {45}
    assert len({row[0] for row in rows[1:]}) == len(NUMBERS)
    assert made.properties.creator != "Somebody"


@pytest.mark.parametrize("wrong", ["Case=episode_id", "Case no=day", "Case no"])
def test_what_is_in_the_way_is_told_and_nothing_is_written(pseudonymise, records, wrong):
    message = pseudonymise(records, "--replace", wrong, "--key", records.with_name("site.key"))
    assert isinstance(message, str)
    assert [path.name for path in records.parent.iterdir()] == ["records.csv"]


def test_nothing_is_written_over(pseudonymise, records):
    pseudonymise(*replace(records))
    before = {path.name: path.read_bytes() for path in records.parent.iterdir()}
    assert "must not exist yet" in pseudonymise(*replace(records))
    assert before == {path.name: path.read_bytes() for path in records.parent.iterdir()}
