"""Episodes of the right posterior canal as clinics deliver them, and what is derived from them."""

import pandas as pd

from pipeline.derivation.tables import derive_rows
from tests.failure_cases import LATER, RIGHT
from tests.unit.conftest import build_table

ANALYSED = ("findings", "adjudications", "spells", "attempts")


def gather(plan, courses: list[dict[int, bool]], sites: int = 5, **followup) -> dict:
    """Derived and delivered rows of episodes of the right posterior canal, each tested on some
    days (True: positive) beside day 0, and treated on day 0."""
    who = [{"site": f"S{n % sites:02d}", "episode_id": f"EP-{n}"} for n in range(len(courses))]
    looks, calls = [], []
    for key, course in zip(who, courses, strict=True):
        looks.append(key | RIGHT | {"day": 0})
        looks += [
            key | {"day": day} | LATER | (RIGHT if positive else {})
            for day, positive in course.items()
        ]
        calls.append(key | {"day": 3, "positional_symptoms": "yes"} | followup)
    delivered = {
        "episodes": build_table(
            "episodes", [key | {"patient_id": key["episode_id"]} for key in who]
        ),
        "examinations": build_table("examinations", looks),
        "treatments": build_table("treatments", [key | {"day": 0} for key in who]),
        "followups": build_table("followups", calls),
        "set_aside": pd.DataFrame({"site": [], "episode_id": [], "table": []}),
    }
    rows = derive_rows(delivered, plan, ["objective"])
    names = ("examinations", "treatments", "followups")
    return {name: delivered[name] for name in names} | {name: rows[name] for name in ANALYSED}
