"""Published tables of patients as deliveries: one course a patient, handed in, taken in, stored and
analysed as the workflow does it.

A course says what a table tells of a patient: the form of the vertigo, the sessions, and what was
found at the visit after each. All else is ours and the same in every course: age, sex, cause, the
right ear, and that all is completed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.analyses.plan import run_analysis
from pipeline.warehouse import open_warehouse
from schemas.study import Config
from tests.handed_in import store_deliveries, write_delivery
from tests.positional_tests import quiet, quiet_roll, rolled, upbeat

NOTHING = {"vertical": "none", "torsion": "none", "horizontal": "none", "vertigo": "none"}
RIGHT_IS_STRONGER, LEFT_IS_STRONGER = {"right": 60, "left": 20}, {"right": 20, "left": 60}
# canal and arm on record, and the tests when positive and when negative
FORMS = {
    "posterior": ("posterior", "long", [upbeat()], [quiet()]),
    "geotropic": ("lateral", "long", rolled("geotropic", **RIGHT_IS_STRONGER), quiet_roll()),
    "apogeotropic": ("lateral", "short", rolled("apogeotropic", **LEFT_IS_STRONGER), quiet_roll()),
}
SIDELESS = {"observe", "sham"}


@dataclass(frozen=True)
class Course:
    """One patient.

    Attributes
    ----------
    form
        One of FORMS.
    sessions
        The maneuvers of each session; the first is on day 0, each other one on the day of the visit
        after the one before.
    days
        Days of the visits, from day 0.
    tests
        Whether the tests of each visit are positive; empty if nobody was tested again.
    symptoms
        Whether positional vertigo is reported at each visit; empty if nobody was asked.
    adverse
        The adverse event of the first session.
    place
        setting and performed_by of all sessions.
    """

    form: str
    sessions: Sequence[Sequence[str]]
    days: Sequence[int]
    tests: Sequence[bool] = ()
    symptoms: Sequence[bool] = ()
    adverse: str = "none"
    place: tuple[str, str] = ("clinic", "clinician")


def store_courses(courses: Sequence[Course], sites: int, folder: Path) -> Path:
    """Hand the courses in, one site after the other in turn, and store them; the warehouse."""
    for k in range(sites):
        own = list(enumerate(courses, start=1))[k::sites]
        tables: dict[str, list[dict]] = {
            "episodes": [_describe(number, course) for number, course in own],
            "examinations": [row for each in own for row in _list_tests(*each)],
            "treatments": [row for each in own for row in _list_treatments(*each)],
            "followups": [row for each in own for row in _list_contacts(*each)],
        }
        write_delivery(folder / "pool", tables, f"S{k + 1:02d}", "001")
    return store_deliveries(folder / "pool", folder)


def analyse(warehouse: Path, analysis: str, config: Config, endpoint: str = "") -> pd.DataFrame:
    """The unreleased estimates of an analysis, by stratum and term."""
    with open_warehouse(warehouse) as opened:
        rows = run_analysis(analysis, opened, config)
    rows = rows[rows["endpoint"].eq(endpoint)] if endpoint else rows
    return rows.set_index(["stratum", "term"]).sort_index()


def _name(number: int) -> dict:
    return {"episode_id": f"EP-{number:04d}"}


def _describe(number: int, course: Course) -> dict:
    canal, arm, *_ = FORMS[course.form]
    person = {
        "patient_id": f"PT-{number:04d}",
        "age_years": 60,
        "sex": "unknown",
        "index_year": 2024,
        "cause": "unknown",
    }
    verdict = {
        "recorded_canal": canal,
        "recorded_side": "right",
        "recorded_arm": arm,
        "arm_basis": "not_assessed" if arm == "short" else "",
        "recorded_mechanism": "canalolithiasis",
        "other_diagnosis": "none",
        "other_diagnosis_day": "",
        "onset_day": "",
    }
    return _name(number) | person | verdict


def _list_tests(number: int, course: Course) -> list[dict]:
    _, _, seen, unseen = FORMS[course.form]
    visits = [(0, True), *zip(course.days, course.tests, strict=False)]
    return [
        _name(number) | NOTHING | {"day": day, "examination": 1, "after_attempt": 0} | test
        for day, positive in visits
        for test in (seen if positive else unseen)
    ]


def _list_treatments(number: int, course: Course) -> list[dict]:
    given = [
        (day, maneuver)
        for day, session in zip((0, *course.days), course.sessions, strict=False)
        for maneuver in session
    ]
    setting, performed_by = course.place
    return [
        _name(number)
        | {"day": day, "attempt": attempt, "maneuver": maneuver}
        | {"side": "none" if maneuver in SIDELESS else "right"}
        | {"setting": setting, "performed_by": performed_by, "completed": "yes"}
        | {"adverse": "none" if day else course.adverse}
        for attempt, (day, maneuver) in enumerate(given, start=1)
    ]


def _list_contacts(number: int, course: Course) -> list[dict]:
    told = course.symptoms or ["unknown"] * len(course.days)
    words = {True: "yes", False: "no", "unknown": "unknown"}
    last = course.days[-1] if course.days else None
    return [
        _name(number)
        | {"day": day, "contact": "clinic" if course.tests else "telephone"}
        | {"positional_symptoms": words[symptoms]}
        | {"end_of_followup": "completed" if day == last else "no"}
        for day, symptoms in zip(course.days, told, strict=True)
    ]
