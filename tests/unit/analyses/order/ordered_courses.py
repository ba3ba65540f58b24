"""Episodes of the right posterior canal with sessions of given families, as clinics deliver them,
and what is derived from them."""

from typing import NamedTuple

import pandas as pd

from pipeline.analyses.order.decisions import describe_first, list_decisions, list_given
from pipeline.analyses.resolution.courses import list_members
from pipeline.derivation.tables import derive_rows
from tests.failure_cases import LATER, RIGHT, SILENT
from tests.unit.conftest import build_table

TABLES = ("episodes", "treatments", "adjudications", "attempts", "spells")


class Course(NamedTuple):
    """The families given by day, and what later tests showed: the grade of vertigo, or nothing."""

    given: dict[int, str]
    tests: dict[int, str]


def gather(plan, courses: list[Course], sites: int = 5) -> dict[str, pd.DataFrame]:
    """The tables that the analysis takes."""
    who = [{"site": f"S{n % sites:02d}", "episode_id": f"EP-{n}"} for n in range(len(courses))]
    looks, given = [], []
    for key, course in zip(who, courses, strict=True):
        looks.append(key | RIGHT | {"day": 0})
        looks += [
            key | {"day": day} | LATER | (RIGHT | {"vertigo": grade} if grade else SILENT)
            for day, grade in course.tests.items()
        ]
        given += [
            key | {"day": day, "attempt": number, "maneuver": family}
            for number, (day, family) in enumerate(sorted(course.given.items()), start=1)
        ]
    delivered = {
        "episodes": build_table("episodes", [k | {"patient_id": k["episode_id"]} for k in who]),
        "examinations": build_table("examinations", looks),
        "treatments": build_table("treatments", given),
        "followups": build_table("followups", []),
        "set_aside": pd.DataFrame({"site": [], "episode_id": [], "table": []}),
    }
    rows = delivered | derive_rows(delivered, plan, ["objective"])
    return {name: rows[name] for name in TABLES}


def decide(plan, courses: list[Course], sites: int = 5) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The members with what was known at the first session, and the decisions."""
    rows = gather(plan, courses, sites)
    members = list_members(rows["adjudications"], rows["spells"])
    given = list_given(members, rows["treatments"], plan)
    kept = [rows[name] for name in ("episodes", "adjudications", "attempts")]
    known = describe_first(members, given, *kept)
    return known, list_decisions(known, given, rows["attempts"], plan)
