"""Who stands at the choice after a failed first session, what was chosen,
and that nothing later is looked at but the outcome."""

import numpy as np
import pandas as pd
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from pipeline.adjudication.failure import explain_failures
from pipeline.analyses.order.choices import list_choices
from schemas import codes
from tests.failure_cases import LATER, RIGHT, SILENT, case, derive, gather

OUTCOME = ["left_days", "right_days"]
EPLEY, SEMONT, OBSERVE, UNLISTED = (
    {"maneuver": code} for code in ("epley", "semont", "observe", "other")
)


def examined(day: int, positive: bool) -> dict:
    return (RIGHT if positive else SILENT) | LATER | {"day": day}


def choose(plan, cases) -> pd.DataFrame:
    """The rows of several episodes by their number: each case is its tests, its treatments,
    and further contacts."""
    numbered = [
        case(
            tests,
            [{"attempt": k} | treatment for k, treatment in enumerate(treatments, start=1)],
            contacts,
        )
        for tests, treatments, contacts in cases
    ]
    record = derive(gather(numbered), plan)
    tables = record.episodes, record.adjudications, record.attempts, record.spells
    rows = list_choices(*tables, "objective", plan)
    return rows.set_index(rows["episode_id"].str.removeprefix("EP-").astype(int)).sort_index()


FAILED = [RIGHT, examined(7, True)]


def test_choices(plan):
    expected = [
        ([EPLEY], [EPLEY], "repeat"),
        ([EPLEY], [SEMONT], "change"),
        ([EPLEY], [SEMONT | {"side": "left"}], "change"),
        ([EPLEY], [EPLEY | {"side": "left"}], "other_side"),
        ([EPLEY], [EPLEY, SEMONT], "mixed"),
        ([EPLEY, SEMONT], [SEMONT, EPLEY], "repeat"),
        ([EPLEY, EPLEY], [EPLEY], "repeat"),
        ([EPLEY], [OBSERVE], "no_maneuver"),
        ([EPLEY], [UNLISTED], "unlisted"),
        ([UNLISTED], [UNLISTED], "unlisted"),
        ([EPLEY], [], "no_second_session"),
    ]
    cases = [
        (FAILED, [*first, *(each | {"day": 7} for each in second)], ())
        for first, second, _ in expected
    ]
    rows = choose(plan, cases)
    assert dict(rows["choice"]) == {k: choice for k, (_, _, choice) in enumerate(expected)}
    assert set(rows["choice"]) <= set(codes.CHOICE)


def test_who_did_not_fail_does_not_stand_at_the_choice(plan):
    untold = [
        [RIGHT, examined(7, False)],  # a success
        [RIGHT],  # not tested again
        # the test came after the second session: it tells nothing of the first
        [RIGHT, examined(9, True)],
    ]
    assert list(
        choose(
            plan, [(tests, [EPLEY, SEMONT | {"day": 8}], ()) for tests in [*untold, FAILED]]
        ).index
    ) == [3]


def test_what_moved_nothing_cannot_fail(plan):
    sessions = [[first, EPLEY | {"day": 7}] for first in (OBSERVE, SEMONT)]
    assert list(choose(plan, [(FAILED, each, ()) for each in sessions]).index) == [1]


def test_the_choice_and_the_reasons_of_failure_are_of_the_same_sessions(plan):
    """Failed, a success, not tested again, nothing was moved, a record with a hole."""
    tests = [FAILED, [RIGHT, examined(7, False)], [RIGHT], FAILED, FAILED]
    first = [EPLEY, EPLEY, EPLEY, OBSERVE, EPLEY]
    cases = [case(seen, [given | {"attempt": 1}]) for seen, given in zip(tests, first, strict=True)]
    record = derive(gather(cases), plan, ("EP-4",))
    reasons = explain_failures(record, plan.criteria, plan.maneuvers, plan.failure)
    chosen = list_choices(
        record.episodes,
        record.adjudications,
        record.attempts,
        record.spells,
        "objective",
        plan,
    )
    failed = reasons.loc[reasons["reason"].ne("never_tested_again"), "episode_id"]
    assert set(failed) == set(chosen["episode_id"]) == {"EP-0"}
    assert (
        record.attempts.set_index("episode_id")["outcome"].to_dict()["EP-4"] == "not_tested_again"
    )


def test_whoever_was_resolved_before_the_second_session_is_counted_only(plan):
    tests = [RIGHT, examined(7, True), examined(9, False), examined(30, True)]
    back_within_the_gap = [*tests[:3], examined(20, True)]
    cases = [(tests, [EPLEY, SEMONT | {"day": day}], ()) for day in (12, 30, 8)]
    rows = choose(plan, [*cases, (back_within_the_gap, [EPLEY, SEMONT | {"day": 12}], ())])
    assert list(rows["choice"]) == ["over_before", "over_before", "change", "over_before"]
    before_the_second = [tuple(interval) for interval in rows[OUTCOME].to_numpy()]
    # on day 30 another spell had begun
    assert before_the_second == [(0, np.inf), (0, np.inf), (0, 1), (0, np.inf)]


def test_time_counts_from_the_second_session(plan):
    expected = [
        ([(14, True), (21, False)], (4, 11)),
        ([(14, False)], (0, 4)),
        ([(14, True)], (4, np.inf)),
        ([], (0, np.inf)),
        ([(14, False), (20, True), (30, False)], (10, 20)),
    ]
    later = [[*FAILED, *(examined(*each) for each in tests)] for tests, _ in expected]
    rows = choose(plan, [(tests, [EPLEY, SEMONT | {"day": 10}], ()) for tests in later])
    assert [tuple(interval) for interval in rows[OUTCOME].to_numpy()] == [
        interval for _, interval in expected
    ]


def test_the_first_session_inside_the_interval_is_found(plan):
    """Days count from the second session on day 10.

    A session on the day of the last positive test is inside, one on the day of the first negative
    test came after it; observation moves nothing.
    """
    expected = [
        ([(14, True), (21, False)], [SEMONT | {"day": 14}, EPLEY | {"day": 18}], 4),
        (
            [(14, True), (21, False)],
            [SEMONT | {"day": 12}, OBSERVE | {"day": 14}, EPLEY | {"day": 18}],
            8,
        ),
        ([(14, True), (21, False)], [SEMONT | {"day": 12}], np.nan),
        ([(14, False)], [], 0),
        ([(14, True), (21, False)], [EPLEY | {"day": 21}], np.nan),
        ([(14, True)], [EPLEY | {"day": 14}], np.nan),
    ]
    cases = [
        ([*FAILED, *(examined(*each) for each in tests)], [EPLEY, SEMONT | {"day": 10}, *more], ())
        for tests, more, _ in expected
    ]
    np.testing.assert_array_equal(
        choose(plan, cases)["treated_days"], [day for *_, day in expected]
    )


LATER_COURSES = st.tuples(
    st.dictionaries(st.integers(8, 90), st.booleans(), max_size=4),
    st.lists(
        st.tuples(st.integers(8, 60), st.sampled_from(["epley", "semont", "observe"])), max_size=3
    ),
    st.sampled_from(["no", "lost", "reclassified"]),
    st.sampled_from(["epley", "semont"]),
)


@settings(max_examples=3, phases=[Phase.generate])
@given(st.lists(LATER_COURSES, min_size=40, max_size=40))
def test_what_comes_after_the_second_session_changes_the_outcome_only(plan, courses):
    before, after = [], []
    for tests, treatments, ending, second in courses:
        given_first = [EPLEY, {"maneuver": second, "day": 7}]
        before.append((FAILED, given_first, ()))
        more = [{"day": day, "maneuver": maneuver} for day, maneuver in sorted(treatments)]
        seen = [examined(day, positive) for day, positive in tests.items()]
        after.append(
            ([*FAILED, *seen], [*given_first, *more], [{"day": 91, "end_of_followup": ending}])
        )
    before, after = choose(plan, before), choose(plan, after)
    unknown_then = [*OUTCOME, "treated_days", "reclassified_day"]
    pd.testing.assert_frame_equal(
        before.drop(columns=unknown_then), after.drop(columns=unknown_then)
    )
    assert len(before) == len(courses)
    last_positive = [
        max((day for day, positive in tests.items() if positive), default=7)
        for tests, *_ in courses
    ]
    assert (after["left_days"] <= np.array(last_positive) - 7).all()
