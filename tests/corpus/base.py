"""A small clean delivery of an invented clinic, the ground on which every case is built."""

import random
from dataclasses import dataclass, field
from typing import Any

TABLES = ("submission", "episodes", "examinations", "treatments", "followups")
HEADERS = {
    "submission": ["field", "value"],
    "episodes": [
        *[
            "episode_id",
            "patient_id",
            "age_years",
            "sex",
            "index_year",
            "onset_day",
            "prior_episodes",
            "cause",
            "migraine_history",
        ],
        *[
            "neck_limitation",
            "osteoporosis",
            "recorded_canal",
            "recorded_side",
            "recorded_arm",
            "arm_basis",
            "recorded_mechanism",
        ],
        *[
            "focal_neurological_sign",
            "spontaneous_vertical_nystagmus",
            "gaze_evoked_nystagmus",
            "cannot_stand",
        ],
        *[
            "severe_headache_or_neck_pain",
            "new_hearing_change",
            "symptoms_only_on_standing",
            "continuous_24h",
        ],
        *[
            "attacks_over_2min",
            "migraine_features_with_attacks",
            "other_diagnosis",
            "other_diagnosis_day",
        ],
    ],
    "examinations": [
        *[
            "episode_id",
            "day",
            "examination",
            "after_attempt",
            "test",
            "side",
            "vertical",
            "torsion",
            "horizontal",
            "latency_s",
            "duration_s",
        ],
        *[
            "peak_spv",
            "spv_at_40s",
            "vertigo",
            "fatigues",
            "reverses_on_sitting",
            "fixation_removed",
        ],
    ],
    "treatments": [
        *[
            "episode_id",
            "day",
            "attempt",
            "maneuver",
            "side",
            "cycles",
            "setting",
            "performed_by",
            "head_turn_deg",
            "head_hang_deg",
        ],
        *["hold_s", "angle_source", "completed", "adverse"],
    ],
    "followups": [
        *[
            "episode_id",
            "day",
            "contact",
            "positional_symptoms",
            "other_dizziness",
            "dhi_total",
            "vas_0_10",
        ],
        *["recurrence_reported", "end_of_followup"],
    ],
}
Value = Any  # what a cell holds: text, a number, None, or a cell of `workbook`
Row = list[Value]


@dataclass
class Tables:
    """The five tables as they will be written: each a list of rows, the header first."""

    site: str
    delivery: str = "001"
    rows: dict[str, list[Row]] = field(default_factory=dict)

    def column(self, table: str, name: str) -> int:
        """The place of a column of the dictionary in that table."""
        return self.rows[table][0].index(name)

    def put(self, table: str, row: int, name: str, value: Value) -> None:
        """Enter a value; `row` is as a spreadsheet shows it, so the first record is 2."""
        self.rows[table][row - 1][self.column(table, name)] = value

    def get(self, table: str, row: int, name: str) -> Value:
        """The value at a place, counted as in `put`."""
        return self.rows[table][row - 1][self.column(table, name)]

    def fill(self, table: str, name: str, make) -> None:
        """Enter `make(old value)` in every record of a column."""
        at = self.column(table, name)
        for row in self.rows[table][1:]:
            row[at] = make(row[at])

    def add_column(self, table: str, header: Value, values) -> None:
        """Add a column on the right with that header, its values taken in order and again from the
        first."""
        width = max(len(row) for row in self.rows[table])
        for number, row in enumerate(self.rows[table]):
            row.extend([None] * (width - len(row)))
            row.append(header if number == 0 else values[(number - 1) % len(values)])

    def drop_column(self, table: str, name: str) -> None:
        """Take a column out."""
        at = self.column(table, name)
        for row in self.rows[table]:
            del row[at]

    def say(self, name: str, value: Value) -> None:
        """Enter a value of the submission table, as a new field if it is not there."""
        for row in self.rows["submission"]:
            if row[0] == name:
                row[1] = value
                return
        self.rows["submission"].append([name, value])


def make_tables(
    site: str, episodes: int = 12, seed: int = 1, delivery: str = "001", prefix: str = "E-"
) -> Tables:
    """A clean delivery of one site: invented, plausible, and the same for the same arguments."""
    draw = random.Random(f"{site[:1]}{seed}")
    tables = Tables(site, delivery, {name: [list(header)] for name, header in HEADERS.items()})
    for name, value in (
        *(
            ("site_code", site),
            ("delivery", delivery),
            ("dictionary_version", 1),
            ("deidentified", "yes"),
        ),
        *(
            ("first_year", 2021),
            ("last_year", 2025),
            ("short_arm_basis", "not_assessed"),
            ("usual_confirmation_day", 7),
        ),
    ):
        tables.rows["submission"].append([name, value])
    for number in range(1, episodes + 1):
        _add_episode(tables, f"{prefix}{number:04d}", f"P{prefix[1:]}{number:04d}", draw)
    return tables


def _add_episode(tables: Tables, episode: str, patient: str, draw: random.Random) -> None:
    canal = draw.choices(["posterior", "lateral"], [3, 1])[0]
    side, onset = draw.choice(["right", "left"]), -draw.choice([1, 2, 3, 5, 8, 13, 20, 34])
    screening = [draw.choices(["no", None], [6, 1])[0] for _ in range(10)]
    tables.rows["episodes"].append(
        [
            *(
                episode,
                patient,
                draw.randint(31, 86),
                draw.choice(["female", "female", "male"]),
                draw.randint(2021, 2025),
            ),
            *(
                onset,
                draw.choice([0, 0, 0, 1, 2]),
                draw.choice(["idiopathic", "idiopathic", "idiopathic", "head_trauma"]),
            ),
            *(
                draw.choice(["no", "no", "yes"]),
                draw.choice(["no", "no", "yes"]),
                draw.choice(["no", "yes", "unknown"]),
            ),
            *(canal, side, "long" if canal == "posterior" else "unknown", None, "canalolithiasis"),
            *(*screening, "none", None),
        ]
    )
    _add_tests(tables, episode, canal, side, 0, draw)
    _add_treatment(tables, episode, canal, side, 0, 1, draw)
    last = draw.choice([6, 7, 8])
    cleared = draw.random() < 0.75
    _add_tests(tables, episode, canal, None if cleared else side, last, draw)
    if not cleared:
        _add_treatment(tables, episode, canal, side, last, 2, draw)
    start = draw.choice(range(34, 61, 2))
    for day, contact, symptoms, total in (
        (last, "clinic", "no" if cleared else "yes", start // 4 * 2),
        (last + draw.choice([21, 24, 28]), "telephone", "no", draw.choice([2, 4, 6, 8, 10, 12])),
    ):
        tables.rows["followups"].append(
            [
                *(episode, day, contact, symptoms, draw.choice(["no", "no", "yes"]), total),
                *(
                    round(total / 12 + draw.random(), 1),
                    "no",
                    "completed" if contact == "telephone" else "no",
                ),
            ]
        )


def _add_tests(
    tables: Tables, episode: str, canal: str, sick: str | None, day: int, draw: random.Random
) -> None:
    test = "dix_hallpike" if canal == "posterior" else "supine_roll"
    for ear in ("right", "left"):
        there = ear == sick or (canal == "lateral" and sick is not None)
        signs = ["up", ear, "none"] if canal == "posterior" else ["none", "none", "geotropic"]
        times = [
            round(draw.uniform(1, 5), 1),
            round(draw.uniform(9, 28), 1),
            round(draw.uniform(12, 55), 1),
            0,
        ]
        tables.rows["examinations"].append(
            [
                *(
                    episode,
                    day,
                    1,
                    0,
                    test,
                    ear,
                    *(signs if there else ["none"] * 3),
                    *(times if there else [None] * 4),
                ),
                draw.choice(["moderate", "severe"]) if there else "none",
                *(
                    draw.choice(["yes", "not_tested"]) if there else None,
                    "not_tested" if there else None,
                    "yes",
                ),
            ]
        )


def _add_treatment(
    tables: Tables, episode: str, canal: str, side: str, day: int, attempt: int, draw: random.Random
) -> None:
    maneuver = draw.choice(
        ["epley", "epley", "semont"]
        if canal == "posterior"
        else ["barbecue_roll", "gufoni_geotropic"]
    )
    tables.rows["treatments"].append(
        [
            *(episode, day, attempt, maneuver, side, draw.choice([1, 1, 2]), "clinic", "clinician"),
            *(
                draw.randint(38, 50),
                draw.randint(10, 30) if canal == "posterior" else None,
                draw.randint(30, 75),
            ),
            *("estimated", "yes", draw.choice(["none", "none", "none", "nausea"])),
        ]
    )
