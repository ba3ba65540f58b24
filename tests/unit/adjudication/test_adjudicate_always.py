"""Verdicts: what must never matter, and what time must never change."""

import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.derivation.tables import adjudicate
from tests.failure_cases import LATER, LEFT, RIGHT, SILENT, case, roll
from tests.unit.adjudication.presentations import any_test, number

MIRROR = {"right": "left", "left": "right"}
seen_strategy = st.tuples(
    st.lists(any_test, min_size=1, max_size=5), st.lists(any_test, max_size=2)
)


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=5, deadline=None
)
@given(
    seen=st.lists(seen_strategy, min_size=8, max_size=8), order=st.randoms(use_true_random=False)
)
def test_mirror_order_shift_and_later_tests(judge_all, seen, order):
    plain = [number(tests) for tests, _ in seen]
    mirrored = [[turn(test) for test in tests] for tests in plain]
    shifted = [
        case([test | {"day": test["day"] + 40} for test in tests], [{"day": 40}]) for tests in plain
    ]
    later = [
        [test | LATER | {"examination": n, "day": 6} for n, test in enumerate(late, start=1)]
        for _, late in seen
    ]
    longer = [
        order.sample(rows, len(rows))
        for rows in ([*a, *b] for a, b in zip(plain, later, strict=True))
    ]
    verdicts = judge_all(*map(case, plain), *map(case, mirrored), *shifted, *map(case, longer))
    count = len(seen)
    for verdict, turned, moved, same in zip(
        *(verdicts[n : n + count] for n in range(0, 4 * count, count)), strict=True
    ):
        assert turned["side"] == MIRROR.get(verdict["side"], verdict["side"])
        columns = [
            "positional",
            "canal",
            "arm",
            "mechanism",
            "certainty",
            "criteria",
            "reasons_against",
        ]
        assert turned[columns].equals(verdict[columns])
        assert moved[[*columns, "side"]].equals(verdict[[*columns, "side"]])
        assert same.equals(verdict)


def test_tests_after_the_first_attempt_do_not_enter_the_verdict(judge):
    later = LEFT | LATER | {"day": 7}
    alone = judge([RIGHT])
    assert judge([RIGHT, later]).equals(alone)


def turn(test: dict) -> dict:
    """The same test with right and left exchanged."""
    return test | {
        key: MIRROR.get(test[key], test[key]) for key in ("side", "torsion", "horizontal")
    }


def test_each_of_many_episodes_has_its_answer(table, plan):
    count, pool = 10_000, {}
    seen = [RIGHT, SILENT | {"examination": 2}, *roll("geotropic", "right")]
    for name, rows in {
        "episodes": [{}],
        "examinations": seen,
        "treatments": [{}],
        "followups": [],
    }.items():
        one = table(name, rows)
        pool[name] = one.loc[one.index.repeat(count)].reset_index(drop=True)
        numbers = pool[name].index % count
        pool[name]["episode_id"] = pd.Series([f"EP-{n}" for n in numbers], dtype="string")
    verdicts = adjudicate(pool, plan)[2]
    assert verdicts["canal"].eq("multiple").all()
