"""Failed first maneuvers, explained: many cases at once, each as an episode of its own.

And verdicts on tests, many at once too.
"""

import pandas as pd
import pytest

from pipeline.adjudication.failure import explain_failures
from pipeline.derivation.tables import adjudicate
from schemas.derived import FailureReasons
from schemas.keys import EPISODE
from tests.failure_cases import case, derive, gather


@pytest.fixture
def explain(plan):
    """A function from cases to their schemas.derived.FailureReasons, one table for each case."""

    def explain_cases(*cases, failure=plan.failure, incomplete=()):
        record = derive(gather(cases), plan, incomplete)
        reasons = FailureReasons.validate(
            explain_failures(record, plan.criteria, plan.maneuvers, failure), lazy=True
        )
        return [
            reasons[reasons["episode_id"].eq(f"EP-{n}")]
            .drop(columns=EPISODE)
            .reset_index(drop=True)
            for n in range(len(cases))
        ]

    return explain_cases


@pytest.fixture(scope="session")
def judge_all(plan):
    """A function from cases to their verdicts, in the order of the cases."""

    def judge_cases(*cases) -> list[pd.Series]:
        pool = gather(cases)
        verdicts = adjudicate(pool, plan)[2].set_index("episode_id")
        return [verdicts.loc[f"EP-{n}"].rename(None) for n in range(len(cases))]

    return judge_cases


@pytest.fixture
def judge(judge_all):
    """A function from tests (and what differs in the episode and its treatments)
    to the verdict on that episode."""

    def judge_one(tests, episode=None, treatments=({},), followups=()) -> pd.Series:
        return judge_all(case(tests, treatments, followups, **(episode or {})))[0]

    return judge_one
