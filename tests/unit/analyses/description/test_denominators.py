"""The ledger of denominators: each base counts whom it says,
and what is left of the larger one adds up with it."""

import pandas as pd
import pytest

from pipeline.adjudication.failure import explain_failures
from pipeline.analyses.description.denominators import count_denominators
from schemas.denominators import BASES
from tests.failure_cases import FAILED, LATER, RIGHT, SILENT, case, derive, gather

EPLEY, SEMONT = {"maneuver": "epley"}, {"maneuver": "semont"}
WELL = [RIGHT, SILENT | LATER | {"day": 7}]
CASES = [  # tests, treatments
    # failed, changed; the second session was never tested
    (FAILED, [EPLEY, SEMONT | {"day": 7, "attempt": 2}]),
    (FAILED, [EPLEY, EPLEY | {"day": 7, "attempt": 2}]),  # failed, repeated
    (FAILED, [EPLEY]),  # failed, no second session
    (FAILED, [{"maneuver": "observe"}]),  # still positive, but nothing was moved
    (WELL, [EPLEY]),
    ([RIGHT], [EPLEY]),  # nobody tested again
    (FAILED, [EPLEY]),  # a test was set aside
    ([RIGHT], []),  # not treated
]
EXPECTED = {
    "handed_in": 11,
    "stored": 8,
    "patients": 7,
    "sites": 1,
    "apart": 0,
    "positional": 8,
    "treated": 7,
    "complete": 6,
    "followed": 5,
    "taken_for_failed": 3,
    "failed": 3,
    "compared": 2,
    "sessions": 9,
    "first_sessions": 7,
    "first_sessions_tested": 5,
    "second_sessions": 2,
    "second_sessions_tested": 0,
    "third_sessions": 0,
    "later_sessions": 0,
}


@pytest.fixture(scope="module")
def counted(plan) -> pd.Series:
    """The numbers of the ledger by name."""
    # one patient has the first two
    patients = ["PT-0", *(f"PT-{number}" for number in range(len(CASES) - 1))]
    cases = [
        case(tests, given, patient_id=who)
        for (tests, given), who in zip(CASES, patients, strict=True)
    ]
    record = derive(gather(cases), plan, ("EP-6",))
    reasons = explain_failures(record, plan.criteria, plan.maneuvers, plan.failure)
    rows = pd.DataFrame(
        {
            "site": ["S01", "S02"],
            "delivery": "001",
            "table": "episodes",
            "rows_in": [9, 3],
            "rows_withdrawn": [1, 0],
        }
    )
    deliveries = pd.DataFrame(
        {"site": ["S01", "S02"], "delivery": "001", "is_current": [True, False]}
    )
    tables = (
        rows,
        deliveries,
        record.episodes,
        record.adjudications,
        record.attempts,
        record.spells,
        reasons,
        plan,
    )
    return count_denominators(*tables).set_index("term")["estimate"].astype(int)


@pytest.mark.parametrize("name", EXPECTED)
def test_each_base_counts_whom_it_says(counted, name):
    assert counted[name] == EXPECTED[name]


@pytest.mark.parametrize("name", [name for name, base in BASES.items() if base.without])
def test_what_is_left_adds_up(counted, name):
    assert counted[name] + counted[f"without_{name}"] == counted[BASES[name].of]


def test_bases_are_declared_whole():
    for name, base in BASES.items():
        assert base.says
        # the larger one comes before
        assert not base.of or list(BASES).index(base.of) < list(BASES).index(name)
        assert not base.without or base.of
