"""Tables as the open standard says them: another implementation reads and checks them."""

import csv

import pytest
from frictionless import Package, Resource, Schema

from pipeline.coordinator.example import list_example
from schemas.delivery import TABLES
from schemas.estimate import Estimates
from schemas.table_schema import describe_columns, describe_delivery
from tests.pool_of_estimates import build_estimates


@pytest.fixture
def maneuvers(plan):
    return {code: maneuver.name for code, maneuver in plan.maneuvers.items()}


def write_delivery(folder, maneuvers, change=lambda table, rows: rows):
    """The example delivery as CSV, with every column of its version."""
    package = describe_delivery(maneuvers)
    for resource in package["resources"]:
        columns = [field["name"] for field in resource["schema"]["fields"]]
        table = resource["name"]
        rows = list_example()[table]
        if table == "submission":
            rows = [{"field": name, "value": value} for name, value in rows[0].items()]
        rows = change(table, rows)
        with (folder / resource["path"]).open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, columns, restval="")
            writer.writeheader()
            writer.writerows(rows)
    return package


def test_the_example_delivery_is_valid_by_another_implementation(tmp_path, maneuvers):
    package = write_delivery(tmp_path, maneuvers)
    report = Package.from_descriptor(package, basepath=str(tmp_path)).validate()
    assert report.valid, report.flatten(["name", "title", "fieldName"])
    assert {resource["name"] for resource in package["resources"]} == {"submission", *TABLES}


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("episodes", "sex", "f"),
        ("episodes", "age_years", "91"),
        ("episodes", "episode_id", ""),
        ("treatments", "maneuver", "nobody_knows"),
    ],
)
def test_what_the_contract_refuses_the_standard_refuses(tmp_path, maneuvers, table, column, value):
    def spoil(name, rows):
        if name == table:
            rows[0][column] = value
        return rows

    package = write_delivery(tmp_path, maneuvers, spoil)
    report = Package.from_descriptor(package, basepath=str(tmp_path)).validate()
    assert column in {error[1] for error in report.flatten(["name", "fieldName"])}


def test_estimates_are_valid_by_another_implementation(tmp_path, plan):
    rows = build_estimates(plan)["resolution_curves"]
    rows.to_csv(tmp_path / "curves.csv", index=False)
    schema = Schema.from_descriptor(describe_columns(Estimates))
    assert Resource(path="curves.csv", basepath=str(tmp_path), schema=schema).validate().valid
    rows.assign(status="perhaps").to_csv(tmp_path / "curves.csv", index=False)
    assert not Resource(path="curves.csv", basepath=str(tmp_path), schema=schema).validate().valid
