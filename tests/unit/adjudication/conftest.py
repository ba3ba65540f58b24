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
from tests.unit.adjudication.asked import EXPLAINED


def explain_each(cases, plan, incomplete=()) -> list[pd.DataFrame]:
    """The schemas.derived.FailureReasons of each of the cases, which are one pool;
    of the episodes `incomplete` a row had been set aside."""
    record = derive(gather(cases), plan, incomplete)
    reasons = FailureReasons.validate(
        explain_failures(record, plan.criteria, plan.maneuvers, plan.failure), lazy=True
    )
    return [
        reasons[reasons["episode_id"].eq(f"EP-{n}")].drop(columns=EPISODE).reset_index(drop=True)
        for n in range(len(cases))
    ]


@pytest.fixture
def explain(plan):
    """A function from cases to the reasons of each: explain_each with the plan of the project,
    or with what is changed in it."""

    def explain_cases(*cases, incomplete=(), **changed):
        return explain_each(cases, plan.model_copy(update=changed), incomplete)

    return explain_cases


@pytest.fixture(scope="module")
def explained_together(request, plan):
    """The reasons of all cases of the chosen tests of a file, explained as one pool: by test, one
    table for each case."""
    marks = {
        item.nodeid: item.get_closest_marker(EXPLAINED)
        for item in request.session.items
        if getattr(item, "module", None) is request.module
    }
    asked = {test: mark.args for test, mark in marks.items() if mark is not None}
    answers = iter(explain_each([case for cases in asked.values() for case in cases], plan))
    return {test: [next(answers) for _ in cases] for test, cases in asked.items()}


@pytest.fixture
def reasons(request, explained_together):
    """The reasons of each case that the test asks for by `explained`."""
    return explained_together[request.node.nodeid]


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
