"""From the tests of one episode to its spells and attempts."""

import pandas as pd
import pytest

from pipeline.adjudication.days import keep_until_reclassified
from pipeline.derivation.attempts import list_attempts
from pipeline.derivation.spells import measure_spells
from pipeline.derivation.states import (
    find_states,
    mark_confirming,
    select_deciding_tests,
    select_every_test,
)
from pipeline.derivation.tables import adjudicate
from schemas.keys import EPISODE


@pytest.fixture
def derive(table, plan):
    """A function from tests, treatments and followups of one episode to its spells and attempts."""

    def derive_one(tests, treatments=({},), followups=(), incomplete=False):
        episodes, examinations = table("episodes", [{}]), table("examinations", tests)
        given_treatments = table("treatments", list(treatments))
        contacts = table("followups", list(followups)).assign(
            after_attempt=pd.array([pd.NA] * len(followups), dtype="Int64")
        )
        delivered = {
            "episodes": episodes,
            "examinations": examinations,
            "treatments": given_treatments,
            "followups": contacts,
        }
        findings, _, verdicts = adjudicate(delivered, plan)
        contacts = keep_until_reclassified(contacts, verdicts)
        deciding = select_deciding_tests(examinations, findings, verdicts, plan.criteria)
        resolution = plan.study.resolution
        deciding["confirming"] = mark_confirming(
            deciding, given_treatments, plan.maneuvers, resolution.confirmation_day
        )
        every = select_every_test(examinations, findings, verdicts, plan.criteria)
        every["confirming"] = mark_confirming(
            every, given_treatments, plan.maneuvers, resolution.confirmation_day
        )
        contacts["confirming"] = mark_confirming(
            contacts, given_treatments, plan.maneuvers, resolution.confirmation_day
        )
        index = pd.MultiIndex.from_frame(episodes[EPISODE])
        treated = index if len(given_treatments) else index[:0]
        spells = measure_spells(
            episodes,
            deciding,
            every,
            contacts,
            treated,
            index if incomplete else index[:0],
            resolution,
        )
        objective = spells[spells["endpoint"].eq("objective")]
        return spells, list_attempts(
            episodes,
            given_treatments,
            deciding,
            find_states(deciding),
            objective,
            verdicts,
            plan.maneuvers,
        )

    return derive_one


def interval(
    spells: pd.DataFrame, endpoint: str = "objective", spell: int = 1
) -> tuple[float, float, str]:
    row = spells[spells["endpoint"].eq(endpoint) & spells["spell"].eq(spell)].iloc[0]
    return row["left_days"], row["right_days"], row["status"]
