"""Small deliveries on disk: plain rows as dicts of cells, changed by a test,
written as .csv files or as a workbook."""

import csv
import io
from pathlib import Path

import pytest
from openpyxl import Workbook

from pipeline.intake.problem import OF_VERSION
from pipeline.intake.receive import Received, receive_delivery
from schemas.columns import DICTIONARY_VERSION
from schemas.delivery import SIGNS

SUBMISSION = {
    "site_code": "S01",
    "delivery": "001",
    "dictionary_version": 1,
    "deidentified": "yes",
    "first_year": 2023,
    "last_year": 2025,
    "short_arm_basis": "sitting_up",
    "usual_confirmation_day": 7,
}
EPISODE = {
    "age_years": 57,
    "sex": "female",
    "index_year": 2024,
    "onset_day": -3,
    "cause": "idiopathic",
    "recorded_canal": "posterior",
    "recorded_side": "right",
    "recorded_arm": "long",
    "recorded_mechanism": "canalolithiasis",
    "continuous_24h": "no",
    "other_diagnosis": "none",
}
EXAMINATION = {
    "day": 0,
    "examination": 1,
    "after_attempt": 0,
    "test": "dix_hallpike",
    "side": "right",
    "vertical": "up",
    "torsion": "right",
    "horizontal": "none",
    "latency_s": 2.5,
    "duration_s": 18,
    "vertigo": "moderate",
}
TREATMENT = {
    "day": 0,
    "attempt": 1,
    "maneuver": "epley",
    "side": "right",
    "setting": "clinic",
    "performed_by": "clinician",
    "hold_s": 30,
    "completed": "yes",
    "adverse": "none",
}
CONTACT = {
    "day": 7,
    "contact": "clinic",
    "positional_symptoms": "no",
    "dhi_total": 12,
    "vas_0_10": 1.5,
    "end_of_followup": "no",
}


def plain_tables() -> dict:
    """A clean delivery: three episodes of two patients, four tests, three attempts,
    three contacts."""
    codes = ("EP-1", "EP-2", "EP-3")
    return {
        "submission": dict(SUBMISSION),
        "episodes": [
            {"episode_id": code, "patient_id": patient} | EPISODE
            for code, patient in zip(codes, ("PT-1", "PT-1", "PT-2"), strict=True)
        ],
        "examinations": [{"episode_id": code} | EXAMINATION for code in codes]
        + [
            {"episode_id": "EP-1"}
            | EXAMINATION
            | {
                "day": 7,
                "vertical": "none",
                "torsion": "none",
                "duration_s": None,
                "vertigo": "none",
            }
        ],
        "treatments": [{"episode_id": code} | TREATMENT for code in ("EP-1", "EP-2")]
        + [{"episode_id": "EP-2"} | TREATMENT | {"attempt": 2, "day": 7}],
        "followups": [{"episode_id": code} | CONTACT for code in codes],
    }


NEWER = {  # what version 2 asks of an episode, and what another version leaves empty
    "spontaneous_horizontal_nystagmus": "no",
    "pressure_drop_on_standing": None,
    "provoked_by_lying_or_turning": "yes",
    "attack_s": 20,
}


def current_tables() -> dict:
    """The same by the present version of the dictionary: with reasons, a plan in two lists,
    history, and one cell for the test that shows nothing."""
    tables = plain_tables()
    del tables["submission"]["usual_confirmation_day"]
    tables["submission"] |= {
        "dictionary_version": DICTIONARY_VERSION,
        "planned_test_days": "7; 14",
        "planned_call_days": 3,
    }
    for row in tables["examinations"]:
        row["reason"] = "symptoms" if row["day"] == 0 else "planned"
        row["minutes_since_attempt"] = row["result"] = None
        if all(row[sign] == "none" for sign in SIGNS):
            row.update(dict.fromkeys(SIGNS), result="negative")
    for row in tables["episodes"]:
        row.update(NEWER)
    for row in tables["treatments"]:
        row["cycles_planned"] = None
    return tables


def to_grid(table: str, rows) -> list[list]:
    """Header and cells of one table; the columns are those of the dictionary's first version,
    then those that only the rows have."""
    if table == "submission":
        return [["field", "value"], *([field, value] for field, value in rows.items())]
    columns = list(OF_VERSION[1].get(table, ()))
    columns += [column for row in rows for column in row if column not in columns]
    columns = list(dict.fromkeys(columns))
    return [columns, *([row.get(column) for column in columns] for row in rows)]


def to_grids(tables: dict) -> dict[str, list[list]]:
    """All tables as grids."""
    return {table: to_grid(table, rows) for table, rows in tables.items()}


def write_csv(folder: Path, grids: dict, *, separator=",", decimal=".", mark="", end="\n") -> Path:
    """Five .csv files in one dialect."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, grid in grids.items():
        text = io.StringIO(newline="")
        rows = [
            [str(cell).replace(".", decimal) if isinstance(cell, float) else cell for cell in row]
            for row in grid
        ]
        csv.writer(text, delimiter=separator, lineterminator=end).writerows(rows)
        (folder / f"{name}.csv").write_bytes((mark + text.getvalue()).encode())
    return folder


def build_book(grids: dict) -> Workbook:
    """One workbook with a sheet per table."""
    book = Workbook()
    book.remove(book.active)
    for name, grid in grids.items():
        sheet = book.create_sheet(name)
        for row in grid:
            sheet.append(row)
    return book


def write_book(folder: Path, book: Workbook, name: str = "S01_001.xlsx") -> Path:
    """A workbook alone in its folder."""
    folder.mkdir(parents=True, exist_ok=True)
    book.save(folder / name)
    return folder


@pytest.fixture
def tables() -> dict:
    """A clean delivery, to be changed by the test."""
    return plain_tables()


@pytest.fixture
def folder(tmp_path) -> Path:
    """Where delivery 001 of site S01 is handed in."""
    return tmp_path / "S01" / "001"


@pytest.fixture
def receive(folder, plan):
    """Hand in tables as .csv files and receive them."""

    def hand_in(tables: dict, previous: Received | None = None, **dialect) -> Received:
        for old in folder.glob("*"):
            old.unlink()
        return receive_delivery(write_csv(folder, to_grids(tables), **dialect), plan, previous)

    return hand_in


def rules_of(received: Received, severity: str | None = None) -> set[str]:
    """The names of the rules that were broken."""
    problems = received.tables["problems"]
    return set(
        problems["rule"]
        if severity is None
        else problems.loc[problems["severity"] == severity, "rule"]
    )


def places_of(received: Received, rule: str) -> list[tuple]:
    """Where a rule was broken: table, row, column, in order."""
    problems = received.tables["problems"]
    places = problems.loc[problems["rule"] == rule, ["table", "row", "column"]].astype(object)
    return [
        tuple(None if cell is not cell or str(cell) == "<NA>" else cell for cell in place)
        for place in places.to_numpy()
    ]
