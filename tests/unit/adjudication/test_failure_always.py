"""Why a first maneuver may have failed: what must never matter, speed, and the rules as data."""

import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from pipeline.adjudication.failure import explain_failures
from schemas.failure import EVIDENCE, REASON, Failure
from tests.failure_cases import (
    CLEAN,
    FAILED,
    LATER,
    LEFT,
    NOTHING,
    RIGHT,
    SILENT,
    case,
    derive,
    evidence,
    evidence_by_reason,
    roll,
)

MIRROR = {"right": "left", "left": "right"}

day_strategy = st.one_of(
    st.sampled_from(
        [RIGHT, LEFT, SILENT, RIGHT | {"duration_s": 90}, RIGHT | {"vertical": "down"}]
    ).map(lambda x: [x]),
    st.sampled_from([("geotropic", "right"), ("apogeotropic", "left")]).map(lambda way: roll(*way)),
)
treatment_strategy = st.fixed_dictionaries(
    {
        "day": st.integers(0, 30),
        "maneuver": st.sampled_from(
            ["epley", "semont", "bow_and_yaw", "barbecue_roll", "gufoni_apogeotropic"]
        ),
        "side": st.sampled_from(["right", "left"]),
        "hold_s": st.sampled_from([10, 45, 200]),
        "completed": st.sampled_from(["yes", "no"]),
    }
)
contact_strategy = st.fixed_dictionaries(
    {"day": st.integers(1, 30), "other_dizziness": st.sampled_from(["yes", "no"])}
)
episode_strategy = st.builds(
    lambda days, treatments, contacts: case(
        [RIGHT] + [test | LATER | {"day": day} for day, seen in days for test in seen],
        [
            t | {"attempt": n}
            for n, t in enumerate([SILENT, *sorted(treatments, key=lambda t: t["day"])], start=1)
        ],
        contacts,
    ),
    st.lists(
        st.tuples(st.integers(1, 40), day_strategy), max_size=4, unique_by=lambda seen: seen[0]
    ),
    st.lists(treatment_strategy, max_size=3),
    st.lists(contact_strategy, max_size=2, unique_by=lambda contact: contact["day"]),
)
pool_strategy = st.lists(episode_strategy, min_size=20, max_size=20)
FEW = settings(
    suppress_health_check=list(HealthCheck),
    max_examples=2,
    phases=[Phase.explicit, Phase.generate],
)


@FEW
@given(pool=pool_strategy, last=day_strategy)
def test_a_later_test_never_changes_what_was_known_at_the_time(explain, pool, last):
    longer = [
        c | {"examinations": c["examinations"] + [x | LATER | {"day": 50} for x in last]}
        for c in pool
    ]
    silent = [c | {"followups": []} for c in pool]
    reasons = explain(*pool, *longer, *silent)
    count = len(pool)
    parts = (reasons[n : n + count] for n in range(0, 3 * count, count))
    for before, after, untold in zip(*parts, strict=True):
        if "no_later_test" not in evidence(untold):  # whoever was never tested again has now been
            first, second = (
                r[r["view"].eq("at_the_time")].reset_index(drop=True) for r in (before, after)
            )
            pd.testing.assert_frame_equal(first, second)


@FEW
@given(pool=pool_strategy, order=st.randoms(use_true_random=False))
def test_mirror_order_and_hindsight(explain, pool, order):
    def turn(row: dict) -> dict:
        return row | {k: MIRROR.get(row[k], row[k]) for k in ("side", "torsion") if k in row}

    mirrored = [{name: [turn(row) for row in rows] for name, rows in c.items()} for c in pool]
    shuffled = [{name: order.sample(rows, len(rows)) for name, rows in c.items()} for c in pool]
    reasons = explain(*pool, *mirrored, *shuffled)
    for plain, turned, mixed in zip(
        *(reasons[n : n + len(pool)] for n in range(0, len(reasons), len(pool))), strict=True
    ):
        pd.testing.assert_frame_equal(turned, plain)
        pd.testing.assert_frame_equal(mixed, plain)
        assert evidence(plain) <= evidence(plain, "in_hindsight") <= set(EVIDENCE)


def test_episodes_do_not_touch_each_other(explain):
    one, another = case([RIGHT, LEFT | LATER | {"day": 7}]), case(FAILED, [{"completed": "no"}])
    pd.testing.assert_frame_equal(explain(one)[0], explain(another, one)[1])


def test_each_of_many_episodes_has_its_answer(table, plan):
    count, pool = 5_000, {}
    for name, rows in {
        "episodes": [{}],
        "examinations": FAILED,
        "treatments": [CLEAN],
        "followups": [],
    }.items():
        one = table(name, rows)
        pool[name] = one.loc[one.index.repeat(count)].reset_index(drop=True)
        numbers = pool[name].index % count
        pool[name]["episode_id"] = pd.Series([f"EP-{n}" for n in numbers], dtype="string")
    record = derive(pool, plan)
    reasons = explain_failures(record, plan.criteria, plan.maneuvers, plan.failure)
    assert len(reasons) == 2 * count
    assert reasons["reason"].eq("undetermined").all()


def test_every_pattern_is_written_down_with_a_reason_and_a_source(plan):
    assert set(plan.failure.patterns) == set(EVIDENCE)
    assert {p.reason for p in plan.failure.patterns.values()} == set(REASON) - {"undetermined"}
    assert {code for t in plan.failure.tolerances.values() for code in t.maneuvers} <= set(
        plan.maneuvers
    )


@pytest.mark.parametrize(
    "change",
    [
        {
            "patterns": {
                "hold_too_shrt": {"reason": "technique", "source": "x", "standing": "proposal"}
            }
        },
        {"remission": {"posterior": {"days": 0, "source": "x", "standing": "proposal"}}},
        {"tolerance": {}},
    ],
)
def test_a_misspelt_or_impossible_entry_is_refused(plan, change):
    with pytest.raises(ValidationError):
        Failure.model_validate(plan.failure.model_dump() | change)


@pytest.mark.parametrize("bounds", [{"least": None, "most": None}, {"least": 50, "most": 40}])
def test_a_tolerance_needs_bounds_in_order(plan, bounds):
    tolerance = plan.failure.tolerances["semont_head_turn"]
    with pytest.raises(ValidationError):
        type(tolerance).model_validate(tolerance.model_dump() | bounds)


def test_a_pattern_left_out_is_not_looked_for(explain, plan):
    fewer = {
        code: pattern for code, pattern in plan.failure.patterns.items() if code != "not_completed"
    }
    (reasons,) = explain(
        case(FAILED, [{"completed": "no"}]),
        failure=plan.failure.model_copy(update={"patterns": fewer}),
    )
    assert evidence_by_reason(reasons) == NOTHING
