"""A site's own names: read to the same rows as the dictionary's, said,
never onto something unknown, and no way around the gate."""

from pathlib import Path

import pandas as pd
import pytest

from pipeline.intake.receive import receive_delivery
from schemas.delivery import TABLES
from schemas.site_map import SiteMap, read_site_maps
from schemas.study import read_config
from tests.unit.intake.conftest import places_of, plain_tables, rules_of, to_grids, write_csv

CONFIG = Path(__file__).parents[3] / "config"
OWN = SiteMap.model_validate(
    {
        "tables": {"Behandlungen": "treatments"},
        "columns": {
            "episodes": {"Alter": "age_years", "Geschlecht": "sex"},
            "treatments": {"Manöver nach Art": "maneuver"},
        },
        "codes": {
            "episodes": {"sex": {"weiblich": "female"}},
            "treatments": {"maneuver": {"Epley Ende": "epley"}, "completed": {"ganz": "yes"}},
        },
    }
)


@pytest.fixture
def own_plan(plan):
    return plan.model_copy(update={"sites": {"S01": OWN}})


def in_own_words(tables: dict) -> dict:
    """The plain delivery as the site would call things."""
    grids = to_grids(tables)
    for table, headers in OWN.columns.items():
        theirs = {column: header for header, column in headers.items()}
        for column, entries in OWN.codes[table].items():
            position = grids[table][0].index(column)
            words = {code: entry for entry, code in entries.items()}
            for row in grids[table][1:]:
                row[position] = words.get(row[position], row[position])
        grids[table][0] = [theirs.get(column, column) for column in grids[table][0]]
    grids["Behandlungen"] = grids.pop("treatments")
    return grids


def test_the_rows_are_those_of_the_dictionary_and_it_is_said(folder, plan, own_plan, tmp_path):
    theirs = receive_delivery(write_csv(folder, in_own_words(plain_tables())), own_plan)
    ours = receive_delivery(
        write_csv(tmp_path / "b" / "S01" / "001", to_grids(plain_tables())), plan
    )
    assert theirs.accepted, places_of(theirs, "free_text")
    for name in TABLES:
        one, other = (
            received.tables[name].drop(columns="source_sha256") for received in (theirs, ours)
        )
        pd.testing.assert_frame_equal(one, other)
    mapped = {(table, column) for table, _, column in places_of(theirs, "read_with_help")}
    assert mapped >= {
        ("episodes", "age_years"),
        ("episodes", "sex"),
        ("treatments", "maneuver"),
        ("treatments", None),
    }


def test_without_the_list_they_are_not_guessed(folder, plan):
    received = receive_delivery(write_csv(folder, in_own_words(plain_tables())), plan)
    assert not received.accepted
    # a table is known by its columns, a word by nothing
    assert {"column_missing", "not_in_list"} <= rules_of(received)


def test_a_list_makes_no_identifier_harmless(folder, plan):
    site_map = SiteMap.model_validate(
        {
            "columns": {"episodes": {"Geburtsdatum": "index_year"}},
            "codes": {"episodes": {"sex": {"w": "female"}}},
        }
    )
    grids = to_grids(plain_tables())
    grids["episodes"][0] = [
        header.replace("index_year", "Geburtsdatum") for header in grids["episodes"][0]
    ]
    grids["episodes"][1][grids["episodes"][0].index("sex")] = "Mr Zacharias Quillfeather"
    received = receive_delivery(
        write_csv(folder, grids), plan.model_copy(update={"sites": {"S01": site_map}})
    )
    assert places_of(received, "identifier_column") == [("episodes", 1, "index_year")]
    assert places_of(received, "free_text") == [("episodes", 2, "sex")]


def test_those_who_withdrew_are_found_in_own_words_too(folder, plan):
    site_map = SiteMap.model_validate({"columns": {"episodes": {"Kürzel": "patient_id"}}})
    grids = to_grids(plain_tables())
    grids["episodes"][0] = [
        header.replace("patient_id", "Kürzel") for header in grids["episodes"][0]
    ]
    write_csv(folder, grids)
    (folder.parent / "withdrawn.csv").write_text("patient_id\nPT-1\n", "utf-8")
    received = receive_delivery(folder, plan.model_copy(update={"sites": {"S01": site_map}}))
    assert received.tables["episodes"]["patient_id"].tolist() == ["PT-2"]


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("columns: {episodes: {Alter: age}}", "age"),
        ("columns: {visits: {Alter: age_years}}", "visits"),
        ("codes: {episodes: {sex: {w: woman}}}", "woman"),
        ("codes: {episodes: {gender: {w: female}}}", "gender"),
        ("codes: {episodes: {sex: {female: male}}}", "female"),
        ("codes: {treatments: {maneuver: {Epley: epsley}}}", "epsley"),
        ("columns: {episodes: {Alter: age_years, Jahre: age_years}}", "age_years"),
        ("columns: {episodes: {A ge: age_years, a_ge: sex}}", "age"),
        ("tables: {Besuche: visits}", "visits"),
        ("colums: {}", "colums"),
    ],
)
def test_a_fault_in_a_list_names_the_file_and_the_key(tmp_path, text, named):
    folder = tmp_path / "plan"
    (folder / "sites").mkdir(parents=True)
    for path in CONFIG.glob("*.yaml"):
        (folder / path.name).write_bytes(path.read_bytes())
    (folder / "sites" / "S04.yaml").write_text(text, "utf-8")
    with pytest.raises(ValueError, match="S04") as fault:
        read_config(folder)
    assert named in str(fault.value)


def test_a_list_is_named_as_a_site(tmp_path):
    (tmp_path / "clinic.yaml").write_text("tables: {}", "utf-8")
    with pytest.raises(ValueError, match="clinic"):
        read_site_maps(tmp_path)
