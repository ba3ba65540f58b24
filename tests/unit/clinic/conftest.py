"""Failed first maneuvers, explained: many cases at once, each as an episode of its own."""

import pytest

from pipeline.clinic.failure import explain_failures
from pipeline.clinic.findings import EPISODE
from schemas.derived import FailureReasons
from tests.failure_cases import derive


@pytest.fixture
def explain(table, plan):
    """A function from cases to their schemas.derived.FailureReasons, one table for each case."""

    def explain_cases(*cases, failure=plan.failure):
        pool = {
            name: table(name, [row | {"episode_id": f"EP-{n}"} for n, c in enumerate(cases) for row in c[name]])
            for name in ("episodes", "examinations", "treatments", "followups")
        }
        reasons = FailureReasons.validate(
            explain_failures(derive(pool, plan), plan.criteria, plan.maneuvers, failure), lazy=True
        )
        return [
            reasons[reasons["episode_id"].eq(f"EP-{n}")].drop(columns=EPISODE).reset_index(drop=True)
            for n in range(len(cases))
        ]

    return explain_cases
