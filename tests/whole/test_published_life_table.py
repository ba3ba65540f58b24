"""A published life table, handed in as a delivery and sent through the whole workflow,
gives its published figures back."""

import shutil
from pathlib import Path

import pandas as pd
import pytest

from schemas.codes import KNOWN_ON_DAY
from tests.handed_in import write_delivery
from tests.whole.conftest import ROOT, run_workflow

TABLE = pd.read_csv(ROOT / "tests" / "published" / "cambi2013.csv", comment="#")


def list_patients() -> list[float]:
    """The day on which each of the 50 patients turned negative;
    the one who did not has infinity."""
    days = [
        day
        for day, events in zip(TABLE["day"], TABLE["events"], strict=True)
        for _ in range(events)
    ]
    return [float(day) for day in days] + [float("inf")] * (
        int(TABLE["at_risk"].iloc[0]) - len(days)
    )


def write_patients(folder: Path) -> None:
    """Each patient as an episode with a torsional downbeat, observed,
    and tested on the days of the table until negative."""
    tables: dict[str, list[dict]] = {
        "episodes": [],
        "examinations": [],
        "treatments": [],
        "followups": [],
    }
    for number, ended in enumerate(list_patients(), start=1):
        code = f"EP-{number:04d}"
        tables["episodes"].append(
            {
                "episode_id": code,
                "patient_id": f"PT-{number:04d}",
                "age_years": 60,
                "sex": "unknown",
                "index_year": 2024,
            }
            | {
                "cause": "unknown",
                "recorded_canal": "anterior",
                "recorded_side": "unknown",
                "recorded_arm": "unknown",
            }
            | {
                "recorded_mechanism": "unknown",
                "other_diagnosis": "none",
                "arm_basis": "",
                "other_diagnosis_day": "",
                "onset_day": "",
            }
        )
        for day in [0, *(day for day in TABLE["day"] if day <= ended)]:
            seen = day < ended
            tables["examinations"].append(
                {
                    "episode_id": code,
                    "day": day,
                    "examination": 1,
                    "test": "dix_hallpike",
                    "side": "right",
                }
                | {
                    "vertical": "down" if seen else "none",
                    "torsion": "right" if seen else "none",
                    "horizontal": "none",
                }
                | {"duration_s": 40 if seen else "", "vertigo": "mild" if seen else "none"}
            )
        tables["treatments"].append(
            {
                "episode_id": code,
                "day": 0,
                "attempt": 1,
                "maneuver": "observe",
                "side": "none",
                "setting": "clinic",
            }
            | {"performed_by": "clinician", "completed": "yes", "adverse": "none"}
        )
        contact = {
            "episode_id": code,
            "day": 28,
            "contact": "clinic",
            "positional_symptoms": "unknown",
            "end_of_followup": "completed",
        }
        tables["followups"].append(contact)
    write_delivery(folder, tables, "S01", "001")


@pytest.fixture(scope="module")
def shares(tmp_path_factory):
    """The curve of the 50 patients by the days of the table, before small groups are hidden."""
    folder = tmp_path_factory.mktemp("cambi")
    write_patients(folder / "submissions")
    shutil.copytree(ROOT / "config", folder / "plan")
    study = folder / "plan" / "study.yaml"
    changed = {
        "days: [1, 7, 14, 30]": "days: [7, 14, 28]",
        "min_episodes: 11": "min_episodes: 2",
        "min_events: 5": "min_events: 1",
    }
    text = study.read_text("utf-8")
    for old, new in changed.items():
        assert old in text
        text = text.replace(old, new)
    study.write_text(text, "utf-8")
    curves = "results/unreleased/resolution_curves.csv"
    done = run_workflow(folder, curves, submissions="submissions", plan="plan")
    assert done.returncode == 0, done.stdout[-3000:]
    rows = pd.read_csv(folder / curves)
    return rows[
        rows["stratum"].eq("canal=anterior_or_posterior") & rows["endpoint"].eq("objective")
    ].set_index("term")


@pytest.mark.parametrize(
    "row", list(TABLE.itertuples(index=False)), ids=lambda row: f"day {row.day}"
)
def test_published_shares_come_back(shares, row):
    for edge in ("upper", "lower"):
        assert shares.loc[f"unresolved_{edge}_day_{row.day}", "estimate"] == pytest.approx(
            row.unresolved, abs=1e-6
        )
    resolved = shares.loc[f"resolved_by_day_{row.day}"]
    assert resolved["estimate"] == pytest.approx(1 - row.unresolved, abs=1e-6)
    assert (resolved["n_episodes"], resolved["n_sites"]) == (50, 1)
    # leaving out each patient gives Greenwood's error but for a factor near one: n / (n - 1) under
    # the root
    assert resolved["std_error"] == pytest.approx(row.std_error, rel=0.02)


def test_published_numbers_of_events_and_of_those_left_come_back(shares):
    """Everybody was tested on every day of the table until negative."""
    known = {
        part: [shares.loc[f"known_{part}_day_{day}", "estimate"] for day in (7, 14)]
        for part in KNOWN_ON_DAY
    }
    assert known == {
        "negative": [24, 24 + 14],
        "between": [0, 0],
        "positive": [26, 12],
        "untested": [0, 0],
    }
