"""What ends a spell first: a switch is told from a canal never tested,
from the other ear and from several canals."""

import pandas as pd
import pytest

from pipeline.adjudication.failure import Record, explain_failures
from pipeline.adjudication.switches import is_switch
from pipeline.derivation.first_events import list_first_events
from tests.failure_cases import FAILED, LATER, RIGHT, SILENT, case, derive, gather, roll

QUIET_ROLL = roll("none", "right")
FIRST = [RIGHT, *QUIET_ROLL]
MOVED = [SILENT | LATER | {"day": 7}, *roll("geotropic", "right", day=7, **LATER)]


OTHER_EAR = roll("geotropic", "left", day=7, **LATER)
SEEN_ILL = RIGHT | LATER | {"day": 5}
RECORDED = {"adverse": "canal_switch"}
RECLASSIFIED = {"day": 9, "end_of_followup": "reclassified"}
NEVER = float("inf")

# One episode each, and what its first event is: the cause, the days between which it lies, and what
# else is asked of it.
EVENTS: dict[str, tuple[dict, tuple[str, float, float], dict]] = {
    "resolution lies where the spell says": (
        case([*FIRST, RIGHT | LATER | {"day": 3}, SILENT | LATER | {"day": 9}]),
        ("resolved", 3, 9),
        {"seen_cause": "resolved", "seen_day": 9, "informative": True},
    ),
    "a silent canal that turns positive is a switch even if the first one is clear": (
        case([*FIRST, RIGHT | LATER | {"day": 3}, *MOVED]),
        ("switched", 3, 7),
        {"seen_cause": "switched", "seen_day": 7},
    ),
    "a canal that had not been tested before is no switch": (
        case([RIGHT, *MOVED]),
        ("resolved", 0, 7),
        {},
    ),
    "the other ear is no switch": (
        case([*FIRST, SILENT | LATER | {"day": 7}, *OTHER_EAR]),
        ("resolved", 0, 7),
        {},
    ),
    "two canals on one day are no switch": (
        case([*FIRST, RIGHT | LATER | {"day": 7}, *roll("geotropic", "right", day=7, **LATER)]),
        ("none", 7, NEVER),
        {},
    ),
    "what comes after resolution is not first": (
        case([*FIRST, SILENT | LATER | {"day": 9}, *(test | {"day": 30} for test in MOVED)]),
        ("resolved", 0, 9),
        {},
    ),
    "a recorded switch lies within the day of its attempt: day 0": (
        case([*FAILED, SILENT | LATER | {"day": 14}], [RECORDED, {"attempt": 2, "day": 7}]),
        ("switched", 0, 1),
        {"seen_day": 0, "informative": True},
    ),
    "a recorded switch lies within the day of its attempt: day 7": (
        case([*FAILED, SILENT | LATER | {"day": 14}], [{}, RECORDED | {"attempt": 2, "day": 7}]),
        ("switched", 6, 7),
        {"seen_day": 7, "informative": True},
    ),
    "a switch within day 0 of somebody never examined again is seen but not informative": (
        case(FIRST, [RECORDED], [{"day": 7, "contact": "telephone"}]),
        ("switched", 0, 1),
        {"seen_cause": "switched", "informative": False},
    ),
    "reclassification ends the risk on its day and later tests tell nothing": (
        case([*FIRST, SEEN_ILL, *(test | {"day": 9} for test in MOVED)], contacts=[RECLASSIFIED]),
        ("reclassified", 5, 9),
        {},
    ),
    "so it does for who was never tested again": (
        case(FIRST, contacts=[RECLASSIFIED]),
        ("reclassified", 0, 9),
        {"informative": True},
    ),
    **{
        f"loss is seen on the day of its contact and censors what only tests tell: {end}": (
            case([*FIRST, SEEN_ILL], contacts=[{"day": 8, "end_of_followup": end}]),
            ("none", 5, NEVER),
            {"seen_cause": "lost", "seen_day": 8},
        )
        for end in ("lost", "withdrew")
    },
    "resolution seen on the last contact is not loss": (
        case(
            [*FIRST, SILENT | LATER | {"day": 8}], contacts=[{"day": 8, "end_of_followup": "lost"}]
        ),
        ("resolved", 0, 8),
        {"seen_cause": "resolved"},
    ),
    "whoever is still followed counts until the last contact": (
        case([*FIRST, SEEN_ILL], contacts=[{"day": 20}]),
        ("none", 5, NEVER),
        {"seen_cause": "none", "seen_day": 20},
    ),
    "whoever is never seen again counts until day 0": (
        case(FIRST),
        ("none", 0, NEVER),
        {"seen_cause": "none", "seen_day": 0, "informative": False},
    ),
}
SWITCHES = [
    case([*FIRST, *MOVED]),
    case([*FIRST, RIGHT | LATER | {"day": 3}, *roll("geotropic", "right", day=5, **LATER), *MOVED]),
    case([*FIRST, RIGHT | {"vertical": "down", "day": 7} | LATER]),
    case([*FIRST, RIGHT | {"vertical": "down", "examination": 2, "after_attempt": 1}]),
    case([RIGHT, *MOVED]),
    case([*FIRST, *OTHER_EAR]),
]
CASES = [*(episode for episode, _, _ in EVENTS.values()), *SWITCHES]


def list_first(record: Record, plan, shuffle: int | None = None) -> pd.DataFrame:
    """The first event of each episode of a record, in the order of the cases; its rows may be put
    into another order before."""
    spells = record.spells[record.spells["endpoint"].eq("objective")]
    tables = [
        record.adjudications,
        record.examinations,
        record.findings,
        record.treatments,
        record.followups,
    ]
    if shuffle is not None:
        tables = [rows.sample(frac=1, random_state=shuffle + k) for k, rows in enumerate(tables)]
    events = list_first_events(spells, *tables, plan.criteria).set_index("episode_id")
    return events.loc[[f"EP-{n}" for n in range(len(CASES))]]


@pytest.fixture(scope="module")
def record(plan) -> Record:
    """All cases as one pool."""
    return derive(gather(CASES), plan)


@pytest.fixture(scope="module")
def events(record, plan) -> pd.DataFrame:
    """The first event of each case."""
    return list_first(record, plan)


@pytest.mark.parametrize("name", EVENTS)
def test_the_first_event(events, name):
    _, interval, more = EVENTS[name]
    event = events.iloc[list(EVENTS).index(name)]
    assert (event["cause"], event["left_days"], event["right_days"]) == interval
    assert event[list(more)].to_dict() == more


def test_the_order_of_rows_changes_nothing(record, events, plan):
    for seed in range(3):
        pd.testing.assert_frame_equal(list_first(record, plan, shuffle=seed), events)


def test_failure_reasons_and_first_events_know_the_same_switches(record, events, plan):
    reasons = explain_failures(record, plan.criteria, plan.maneuvers, plan.failure)
    of_switch = reasons[reasons["reason"].eq("canal_switch") & reasons["view"].eq("in_hindsight")]
    for episode, event in events.iloc[len(EVENTS) :].iterrows():
        known = of_switch.loc[of_switch["episode_id"].eq(episode), "known_day"]
        assert known.tolist() == ([event["seen_day"]] if event["cause"] == "switched" else [])


@pytest.mark.parametrize(
    ("first", "now", "tested", "expected"),
    [
        ("posterior/right/long/canalolithiasis", "lateral/right/long/canalolithiasis",
         "dix_hallpike supine_roll", True),
        ("posterior/right/long/canalolithiasis", "lateral/left/long/canalolithiasis",
         "dix_hallpike supine_roll", False),
        ("posterior/right/long/canalolithiasis", "lateral/unknown/long/canalolithiasis",
         "supine_roll", True),
        ("posterior/right/long/canalolithiasis", "lateral/right/long/canalolithiasis",
         "dix_hallpike", False),
        ("posterior/right/long/canalolithiasis", "posterior/right/short/canalolithiasis",
         "dix_hallpike", False),
        (
            "anterior/left/long/canalolithiasis posterior/right/short/canalolithiasis",
            "anterior/left/long/canalolithiasis",
            "dix_hallpike",
            False,
        ),
        ("", "lateral/right/long/canalolithiasis", "supine_roll", False),
        ("unknown/right/unknown/unknown", "lateral/right/long/canalolithiasis", "supine_roll",
         False),
    ],
)  # fmt: skip
def test_variants_tell_of_a_move(plan, first, now, tested, expected):
    assert is_switch(first, now, tested, plan.criteria) == expected
