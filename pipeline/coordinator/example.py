"""Three invented episodes of two invented patients, filled in as a clinic would:
the template shows them, and a trial delivery is made of them."""

from schemas.columns import DICTIONARY_VERSION

Row = dict[str, object]  # cells by column; a column that is left out is an empty cell

SUBMISSION: Row = {
    "site_code": "S99",
    "delivery": "001",
    "dictionary_version": DICTIONARY_VERSION,
    "deidentified": "yes",
    "first_year": 2024,
    "last_year": 2025,
    "short_arm_basis": "sitting_up",
    "planned_test_days": "7",
    "planned_call_days": "3",
    "counted_episodes": 3,
    "counted_patients": 2,
    "counted_treated": 3,
    "counted_followed": 3,
    "counted_recurrences": 1,
    "counted_posterior": 2,
    "counted_lateral": 1,
    "counted_anterior": 0,
}

NO_SIGN = dict.fromkeys(
    (
        "focal_neurological_sign",
        "spontaneous_vertical_nystagmus",
        "spontaneous_horizontal_nystagmus",
        "gaze_evoked_nystagmus",
        "cannot_stand",
        "severe_headache_or_neck_pain",
        "new_hearing_change",
        "symptoms_only_on_standing",
        "continuous_24h",
        "attacks_over_2min",
        "migraine_features_with_attacks",
    ),
    "no",
)
EVERY_EPISODE: Row = {
    "recorded_mechanism": "canalolithiasis",
    "migraine_history": "no",
    **NO_SIGN,
    "provoked_by_lying_or_turning": "yes",
    "attack_s": 20,
    "other_diagnosis": "none",
}
WOMAN: Row = {
    "patient_id": "PT-0001",
    "sex": "female",
    "cause": "idiopathic",
    "neck_limitation": "no",
    "osteoporosis": "unknown",
}
RIGHT_POSTERIOR: Row = {"recorded_canal": "posterior", "recorded_side": "right"}
EPISODES: tuple[Row, ...] = (
    {
        "episode_id": "EP-0001",
        "age_years": "57",
        "index_year": 2024,
        "onset_day": -3,
        "prior_episodes": 0,
    }
    | WOMAN
    | RIGHT_POSTERIOR
    | {"recorded_arm": "long"},
    {
        "episode_id": "EP-0002",
        "patient_id": "PT-0002",
        "age_years": "90+",
        "sex": "male",
        "index_year": 2024,
    }
    | {"onset_day": -14, "prior_episodes": 2, "cause": "unknown", "neck_limitation": "yes"}
    | {"recorded_canal": "lateral", "recorded_side": "left", "recorded_arm": "long"},
    {"episode_id": "EP-0003", "age_years": "58", "index_year": 2025, "prior_episodes": 1}
    | WOMAN
    | RIGHT_POSTERIOR
    | {"recorded_arm": "short", "arm_basis": "sitting_up"},
)

SILENT: Row = {"result": "negative", "fixation_removed": "yes"}  # in place of four cells
UP_RIGHT: Row = {
    "vertical": "up",
    "torsion": "right",
    "horizontal": "none",
    "fatigues": "not_tested",
}
GEOTROPIC: Row = {
    "vertical": "none",
    "torsion": "none",
    "horizontal": "geotropic",
    "fixation_removed": "yes",
}


def _test(
    episode_id: str,
    day: int,
    examination: int,
    test: str,
    side: str,
    seen: Row,
    after_attempt: int = 0,
) -> Row:
    place: Row = {
        "episode_id": episode_id,
        "day": day,
        "examination": examination,
        "after_attempt": after_attempt,
    }
    return place | {"test": test, "side": side} | seen


CAME: Row = {"reason": "symptoms"}  # in one row of a day, which is enough
PLANNED: Row = {"reason": "planned"}
EXAMINATIONS: tuple[Row, ...] = (
    _test("EP-0001", 0, 1, "dix_hallpike", "left", SILENT) | CAME,
    _test("EP-0001", 0, 2, "dix_hallpike", "right", UP_RIGHT)
    | {"latency_s": 3, "duration_s": 18, "peak_spv": 32.5, "spv_at_40s": 0.5, "vertigo": "moderate"}
    | {"reverses_on_sitting": "yes", "fixation_removed": "yes"},
    _test("EP-0001", 7, 1, "dix_hallpike", "right", SILENT) | PLANNED,
    _test("EP-0002", 0, 1, "supine_roll", "left", GEOTROPIC)
    | CAME
    | {"latency_s": 0.8, "duration_s": 35, "peak_spv": 48, "spv_at_40s": 1, "vertigo": "severe"},
    _test("EP-0002", 0, 2, "supine_roll", "right", GEOTROPIC)
    | {"latency_s": 1, "duration_s": 22, "peak_spv": 21, "spv_at_40s": 0.5, "vertigo": "moderate"},
    _test("EP-0002", 3, 1, "supine_roll", "left", GEOTROPIC)
    | CAME
    | {"latency_s": 1, "duration_s": 20, "vertigo": "mild"},
    _test("EP-0002", 3, 2, "supine_roll", "left", SILENT, after_attempt=2)
    | {"minutes_since_attempt": 35},
    _test("EP-0002", 10, 1, "supine_roll", "left", SILENT) | PLANNED,
    _test("EP-0002", 10, 2, "supine_roll", "right", SILENT),
    _test("EP-0003", 0, 1, "dix_hallpike", "right", SILENT) | CAME,
    _test("EP-0003", 0, 2, "sitting_up", "right", UP_RIGHT)
    | {"latency_s": 1, "duration_s": 12, "vertigo": "mild", "fixation_removed": "no"},
)

IN_CLINIC: Row = {"setting": "clinic", "performed_by": "clinician"}
TREATMENTS: tuple[Row, ...] = (
    {
        "episode_id": "EP-0001",
        "day": 0,
        "attempt": 1,
        "maneuver": "epley",
        "side": "right",
        "cycles": 2,
    }
    | {"head_turn_deg": 45, "head_hang_deg": 25, "hold_s": 30, "angle_source": "estimated"}
    | {**IN_CLINIC, "completed": "yes", "adverse": "none"},
    {
        "episode_id": "EP-0002",
        "day": 0,
        "attempt": 1,
        "maneuver": "barbecue_roll",
        "side": "left",
        "cycles": 1,
    }
    | {**IN_CLINIC, "hold_s": 30, "completed": "no", "adverse": "nausea; neck_pain"},
    {
        "episode_id": "EP-0002",
        "day": 3,
        "attempt": 2,
        "maneuver": "gufoni_geotropic",
        "side": "left",
        "cycles": 1,
    }
    | {"head_turn_deg": 50, "hold_s": 120, "angle_source": "measured"}
    | {**IN_CLINIC, "completed": "yes", "adverse": "none"},
    {
        "episode_id": "EP-0003",
        "day": 0,
        "attempt": 1,
        "maneuver": "repeated_sit_ups",
        "side": "right",
        "cycles": 10,
        "cycles_planned": 12,
    }
    | {
        "setting": "home",
        "performed_by": "self_unsupervised",
        "completed": "yes",
        "adverse": "none",
    },
)

CONTACTS: tuple[Row, ...] = (
    {"episode_id": "EP-0001", "day": 3, "contact": "telephone", "positional_symptoms": "no"}
    | {"end_of_followup": "no"},
    {
        "episode_id": "EP-0001",
        "day": 7,
        "contact": "clinic",
        "positional_symptoms": "no",
        "other_dizziness": "yes",
    }
    | {
        "dhi_total": 24,
        "vas_0_10": 2.5,
        "recurrence_reported": "no",
        "end_of_followup": "completed",
    },
    {
        "episode_id": "EP-0002",
        "day": 10,
        "contact": "clinic",
        "positional_symptoms": "no",
        "other_dizziness": "no",
    }
    | {"dhi_total": 12, "vas_0_10": 0, "recurrence_reported": "no", "end_of_followup": "no"},
    {"episode_id": "EP-0002", "day": 90, "contact": "telephone", "positional_symptoms": "yes"}
    | {"recurrence_reported": "yes", "end_of_followup": "no"},
    {"episode_id": "EP-0003", "day": 3, "contact": "telephone", "positional_symptoms": "yes"}
    | {"end_of_followup": "no"},
    {"episode_id": "EP-0003", "day": 21, "contact": "telephone", "positional_symptoms": "unknown"}
    | {"end_of_followup": "lost"},
)


def list_example() -> dict[str, list[Row]]:
    """The example by table: rows of cells by column; the submission table is its one row of fields.

    The caller may change the rows.
    """
    return {
        "submission": [dict(SUBMISSION)],
        "episodes": [EVERY_EPISODE | row for row in EPISODES],
        "examinations": [dict(row) for row in EXAMINATIONS],
        "treatments": [dict(row) for row in TREATMENTS],
        "followups": [dict(row) for row in CONTACTS],
    }
