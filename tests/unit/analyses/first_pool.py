"""Small pools of first sessions and their next tests, for tests of what they cleared."""

import pandas as pd

from schemas.derived import Adjudications, Attempts
from tests.unit.conftest import build_table

VERDICT = {
    "positional": "yes",
    "canal": "posterior",
    "arm": "long",
    "arm_basis": pd.NA,
    "mechanism": "canalolithiasis",
    "certainty": "definite",
}
KNOWN = {
    "side": "right",
    "side_by": "plane",
    "known_day": 0,
    "reclassified_day": pd.NA,
    "site_recognised": False,
    **dict.fromkeys(["variants", "side_signs", "criteria", "reasons_against"], ""),
}
SESSION = {"family": "epley", "outcome": "negative", "setting": "clinic", "spell": 1} | {
    "at_risk": True
}
CODES = {"gufoni": "gufoni_geotropic"}  # of families that are not called like a maneuver
CALM = {
    "session": 1,
    "day": 0,
    "attempt": 1,
    "attempts": 1,
    "side": "right",
    "fit": "yes",
    "performed_by": "clinician",
    "completed": "yes",
    "previous_maneuver": pd.NA,
    "same_visit": "not_tested_again",
}


def make_pool(episodes: list[dict]) -> dict[str, pd.DataFrame]:
    """Tables of episodes, of which each says how it differs from an Epley maneuver of the posterior
    canal that a negative test follows after seven days: columns of VERDICT and SESSION, days, site
    and onset_day."""
    keys = pd.DataFrame(
        {
            "site": [each.get("site", "S01") for each in episodes],
            "episode_id": [f"EP-{number}" for number in range(len(episodes))],
        }
    )
    people = [
        {"onset_day": each.get("onset_day", -5), "patient_id": f"PT-{number}"}
        for number, each in enumerate(episodes)
    ]

    def tell(plain: dict) -> dict:
        return {name: [each.get(name, value) for each in episodes] for name, value in plain.items()}

    told = tell(SESSION)
    tested = [outcome != "not_tested_again" for outcome in told["outcome"]]
    days = [
        each.get("days", 7) if seen else pd.NA for each, seen in zip(episodes, tested, strict=True)
    ]
    first = [family.split()[0] for family in told["family"]]
    maneuvers = [CODES.get(family, family) for family in first]
    attempts = keys.assign(**CALM, **told, maneuver=maneuvers, next_test_days=days)
    return {
        "episodes": build_table("episodes", people).assign(**keys.astype("string")),
        "adjudications": Adjudications.cast(keys.assign(**KNOWN, **tell(VERDICT))),
        "attempts": Attempts.cast(attempts.assign(patient_id=[p["patient_id"] for p in people])),
    }
