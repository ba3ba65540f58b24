"""A simulated record as the tables that clinics deliver and the warehouse stores."""

import numpy as np
import pandas as pd

from schemas.warehouse import columns_of
from tests.recovery.habits import YEARS
from tests.recovery.scenarios import CODES, VARIANTS
from tests.recovery.visits import Events, Record

GRADES = np.array(["mild", "moderate", "severe"])
EARS = np.array(["right", "left"])
SHORT, LONG = 20, 90  # seconds of nystagmus of free and of adherent debris
STRONG, WEAK = 60, 20  # degrees per second to either side of a roll
NOTHING = {
    "vertical": "none",
    "torsion": "none",
    "horizontal": "none",
    "duration_s": np.nan,
    "peak_spv": np.nan,
    "vertigo": "none",
}


def build_delivered(record: Record) -> dict[str, pd.DataFrame]:
    """The tables by the names of the warehouse: deliveries, planned_days, episodes,
    examinations, treatments, followups and an empty set_aside."""
    names = name_record(record)
    tables = {
        "deliveries": _build_deliveries(record),
        "planned_days": _build_planned_days(record),
        "episodes": _build_episodes(record, names),
        "examinations": _build_examinations(record, names),
        "treatments": _build_treatments(record, names),
        "followups": _build_followups(record.calls, names),
        "set_aside": pd.DataFrame(),
    }
    return {name: store_rows(name, rows) for name, rows in tables.items()}


def name_record(record: Record) -> pd.DataFrame:
    """site and episode_id of each patient, who has one episode."""
    numbers = np.arange(len(record.people.site))
    return pd.DataFrame(
        {
            "site": [f"S{1 + site:02d}" for site in record.people.site],
            "episode_id": [f"EP-{i:06d}" for i in numbers],
        }
    )


def store_rows(name: str, rows: pd.DataFrame) -> pd.DataFrame:
    """The rows with all columns of the warehouse's table, in its order and types."""
    described = columns_of(name)
    if "row" in described:
        rows = rows.assign(delivery="001", source_sha256="", row=np.arange(len(rows)) + 2)
    return pd.DataFrame(
        {
            column: rows.get(column, pd.Series(pd.NA, rows.index, dtype=object)).astype(d.dtype)
            for column, d in described.items()
        }
    )


def _build_deliveries(record: Record) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "site": [f"S{1 + site:02d}" for site in range(len(record.usual))],
            "delivery": "001",
            "status": "accepted",
            "is_current": True,
            "form": ".csv",
            "fingerprint": "",
            "dictionary_version": 1,
            "first_year": min(YEARS),
            "last_year": max(YEARS),
            "short_arm_basis": "sitting_up",
        }
    )


def _build_planned_days(record: Record) -> pd.DataFrame:
    sites = [f"S{1 + site:02d}" for site in range(len(record.usual))]
    return pd.DataFrame({"site": sites, "delivery": "001", "kind": "test", "day": record.usual})


def _build_episodes(record: Record, names: pd.DataFrame) -> pd.DataFrame:
    people = record.people
    variant = [VARIANTS[v] for v in people.variant]
    return names.assign(
        patient_id=names["episode_id"].str.replace("EP", "PT"),
        age_years=people.age,
        sex=np.where(people.female, "female", "male"),
        index_year=record.year,
        onset_day=people.onset,
        prior_episodes=people.prior,
        cause="idiopathic",
        recorded_canal=[v.canal for v in variant],
        recorded_side=EARS[record.ear],
        recorded_arm=["long" if v.arm == "long" else "unknown" for v in variant],
        recorded_mechanism=[v.mechanism for v in variant],
        other_diagnosis="none",
    )


def _build_examinations(record: Record, names: pd.DataFrame) -> pd.DataFrame:
    """Both ears are tested for the canal that is in question; nystagmus shows in that position in
    which its variant has it."""
    tests = record.tests
    ear = EARS[tests.what["ear"]]
    other = EARS[1 - tests.what["ear"]]
    positive, torsion = tests.what["positive"], tests.what["torsion"]
    parts = []
    for v, variant in enumerate(VARIANTS):
        of_variant = record.people.variant[tests.who] == v
        seconds = LONG if variant.mechanism == "cupulolithiasis" else SHORT
        felt = {"duration_s": seconds, "vertigo": "moderate"}
        if variant.canal == "lateral":
            geotropic = variant.mechanism == "canalolithiasis"
            beats = {"horizontal": "geotropic" if geotropic else "apogeotropic"} | felt
            strong, weak = (ear, other) if geotropic else (other, ear)
            parts.append(
                _test(tests, of_variant, "supine_roll", strong, beats | {"peak_spv": STRONG})
            )
            parts.append(_test(tests, of_variant, "supine_roll", weak, beats | {"peak_spv": WEAK}))
            continue
        middle = np.full(len(ear), "none")
        test, side, vertical = (
            ("straight_head_hang", middle, "down")
            if variant.canal == "anterior"
            else ("dix_hallpike", ear, "up")
        )
        for seen in (True, False):
            beats = {"vertical": vertical} | felt
            turning = np.where(seen, ear, middle)
            chosen = of_variant & (torsion == seen)
            parts.append(_test(tests, chosen, test, side, beats | {"torsion": turning}))
        parts.append(_test(tests, of_variant, "dix_hallpike", other, {}))
        if variant.canal == "anterior":
            parts.append(_test(tests, of_variant, "dix_hallpike", ear, {}))
    rows = pd.concat(parts, ignore_index=True)
    shown = positive[rows.pop("place").to_numpy()]
    for column, nothing in NOTHING.items():
        rows[column] = rows[column].where(shown, nothing)
    who = rows.pop("who").to_numpy()
    if record.grade is not None:
        rows["vertigo"] = rows["vertigo"].where(
            rows["vertigo"].eq("none"), GRADES[record.grade[who]]
        )
    rows = names.iloc[who].reset_index(drop=True).join(rows)
    return rows.assign(examination=1, after_attempt=0).sort_values(
        ["site", "episode_id", "day", "test", "side"], ignore_index=True
    )


def _test(
    tests: Events, chosen: np.ndarray, test: str, side: np.ndarray, shows: dict
) -> pd.DataFrame:
    """One test at each of the events `chosen`, as it is if positive."""
    place = np.flatnonzero(chosen)
    fields = {
        name: values[place] if isinstance(values, np.ndarray) else values
        for name, values in {**NOTHING, **shows}.items()
    }
    rows = {"who": tests.who[place], "day": tests.day[place], "place": place, "test": test}
    return pd.DataFrame({**rows, "side": side[place], **fields})


def _build_treatments(record: Record, names: pd.DataFrame) -> pd.DataFrame:
    sessions = record.sessions
    families = np.array(
        [[CODES.get(name, name) for name in variant.families] for variant in VARIANTS]
    )
    rows = names.iloc[sessions.who].reset_index(drop=True)
    return rows.assign(
        day=sessions.day,
        attempt=rows.groupby("episode_id").cumcount() + 1,
        maneuver=families[record.people.variant[sessions.who], sessions.what["family"]],
        side=EARS[sessions.what["ear"]],
        setting="clinic",
        performed_by="clinician",
        completed="yes",
        adverse="none",
    )


def _build_followups(calls: Events, names: pd.DataFrame) -> pd.DataFrame:
    rows = names.iloc[calls.who].reset_index(drop=True)
    return rows.assign(
        day=calls.day,
        contact="telephone",
        positional_symptoms=np.where(calls.what["yes"], "yes", "no"),
        end_of_followup="no",
    )
