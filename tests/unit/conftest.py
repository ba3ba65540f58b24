"""Small typed tables for tests: say only what matters, the rest is filled with plain values."""

import pandas as pd
import pytest

from schemas.delivery import TABLES

PLAIN = {
    "episodes": {
        "episode_id": "EP-1",
        "patient_id": "PT-1",
        "age_years": 60,
        "sex": "female",
        "index_year": 2024,
        "cause": "idiopathic",
        "recorded_canal": "posterior",
        "recorded_side": "right",
        "recorded_arm": "long",
        "recorded_mechanism": "canalolithiasis",
        "other_diagnosis": "none",
    },
    "examinations": {
        "episode_id": "EP-1",
        "day": 0,
        "examination": 1,
        "after_attempt": 0,
        "test": "dix_hallpike",
        "side": "right",
        "vertical": "none",
        "torsion": "none",
        "horizontal": "none",
        "vertigo": "none",
    },
    "treatments": {
        "episode_id": "EP-1",
        "day": 0,
        "attempt": 1,
        "maneuver": "epley",
        "side": "right",
        "setting": "clinic",
        "performed_by": "clinician",
        "completed": "yes",
        "adverse": "none",
    },
    "followups": {
        "episode_id": "EP-1",
        "day": 7,
        "contact": "clinic",
        "positional_symptoms": "no",
        "end_of_followup": "no",
    },
}


def build_table(name: str, rows: list[dict]) -> pd.DataFrame:
    """A typed delivered table with its site, as the store reads it;
    each row says what differs from a plain one."""
    described = TABLES[name].describe()
    full = [{"site": "S01"} | PLAIN[name] | row for row in rows]
    frame = pd.DataFrame({"site": pd.array([row["site"] for row in full], dtype="string")})
    for column, description in described.items():
        frame[column] = pd.array([row.get(column, pd.NA) for row in full], dtype=description.dtype)
    return frame


@pytest.fixture
def table():
    """The builder of small typed tables."""
    return build_table
