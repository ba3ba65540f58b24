"""Small cases of failed first maneuvers, and what is derived from a pool before failures are
explained."""

import pandas as pd

from pipeline.adjudication.days import keep_until_reclassified
from pipeline.adjudication.failure import Record
from pipeline.derivation.attempts import list_attempts
from pipeline.derivation.spells import measure_spells
from pipeline.derivation.states import find_states, mark_confirming, select_deciding_tests
from pipeline.derivation.tables import adjudicate
from schemas.keys import EPISODE
from tests.unit.conftest import build_table

RIGHT = {
    "side": "right",
    "vertical": "up",
    "torsion": "right",
    "vertigo": "moderate",
    "duration_s": 20,
}
LEFT = RIGHT | {"side": "left", "torsion": "left"}
SILENT = {"side": "right"}
LATER = {"after_attempt": pd.NA}
FAILED = [RIGHT, RIGHT | LATER | {"day": 7}]
CLEAN = {"hold_s": 60, "head_turn_deg": 45, "head_hang_deg": 30, "angle_source": "measured"}
NOTHING = {"undetermined": ""}


def case(tests, treatments=({},), contacts=(), **episode) -> dict[str, list[dict]]:
    """One episode; each row says what differs from a plain one,
    and a treatment from one without a flaw."""
    given = [CLEAN | treatment for treatment in treatments]
    return {
        "episodes": [episode],
        "examinations": tests,
        "treatments": given,
        "followups": list(contacts),
    }


def roll(direction: str, stronger: str, **more) -> list[dict]:
    """Both sides of the supine roll test."""
    still = {"horizontal": "none", "vertigo": "none"}
    shown = {"horizontal": direction, "vertigo": "moderate", "duration_s": 20}
    return [
        {"test": "supine_roll", "side": side, "examination": number}
        | (still if direction == "none" else shown | {"peak_spv": 60 if side == stronger else 20})
        | more
        for number, side in ((11, "right"), (12, "left"))
    ]


def gather(cases) -> dict[str, pd.DataFrame]:
    """The cases as one pool: each an episode of its own, EP-0, EP-1 and so on."""
    return {
        name: build_table(
            name, [row | {"episode_id": f"EP-{n}"} for n, c in enumerate(cases) for row in c[name]]
        )
        for name in ("episodes", "examinations", "treatments", "followups")
    }


def derive(pool: dict[str, pd.DataFrame], plan, incomplete: tuple[str, ...] = ()) -> Record:
    """What is derived from a pool before failures are explained;
    of the episodes `incomplete` a row had been set aside."""
    episodes, examinations, treatments, contacts = pool.values()
    findings, _, verdicts = adjudicate(pool, plan)
    tests = select_deciding_tests(examinations, findings, verdicts, plan.criteria)
    tests["confirming"] = mark_confirming(tests, treatments, plan.maneuvers, 1)
    reports = keep_until_reclassified(contacts, verdicts).assign(confirming=True)
    treated = pd.MultiIndex.from_frame(treatments[EPISODE].drop_duplicates())
    holes = treated[treated.get_level_values("episode_id").isin(incomplete)]
    spells = measure_spells(episodes, tests, tests, reports, treated, holes, plan.study.resolution)
    objective = spells[spells["endpoint"].eq("objective")]
    attempts = list_attempts(
        episodes, treatments, tests, find_states(tests), objective, verdicts, plan.maneuvers
    )
    return Record(
        **pool, findings=findings, adjudications=verdicts, attempts=attempts, spells=spells
    )


def evidence_by_reason(reasons: pd.DataFrame, view: str = "at_the_time") -> dict[str, str]:
    """Reason and evidence of the rows of one view."""
    rows = reasons[reasons["view"].eq(view)]
    return dict(zip(rows["reason"], rows["evidence"].fillna(""), strict=True))


def evidence(reasons: pd.DataFrame, view: str = "at_the_time") -> set[str]:
    return set(" ".join(evidence_by_reason(reasons, view).values()).split())
