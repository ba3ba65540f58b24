"""Numbers leave rounded by their kind, and no rounded count proves a difference of few."""

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from pipeline.disclosure.rounding import unround_count
from pipeline.statistics.tidy import state
from schemas.study import round_count
from tests.pool_of_counts import RULE
from tests.unit.disclosure.test_protect import protect


def test_numbers_leave_rounded_by_their_kind_and_errors_of_shares_stay():
    fields = {"n_sites": 5, "std_error": 0.0123456}
    rows = [
        state(
            "resolved_by_day_7", 0.571234, n_episodes=500, lower=0.412345, upper=0.723456, **fields
        ),
        state(
            "resolved_by_day_30",
            0.571234,
            n_episodes=5000,
            lower=0.412345,
            upper=0.723456,
            **fields,
        ),
        state("median_days", 4, n_episodes=500, lower=2, upper=8, **fields),
    ]
    safe = protect(rows, analysis="resolution_curves", endpoint="objective")
    assert safe["estimate"].tolist() == [0.57, 0.57, 4]
    assert safe["lower"].tolist() == [0.41, 0.41, 2]
    assert safe["std_error"].isna().all()
    ratio = state(
        "sex=male",
        1.234567,
        n_episodes=500,
        lower=0.9876,
        upper=1.55555,
        p_value=0.012345,
        **fields,
    )
    safe = protect([ratio], analysis="resolution_regression", endpoint="objective").iloc[0]
    assert safe[["estimate", "lower", "std_error", "p_value"]].tolist() == [
        1.23,
        0.99,
        0.012,
        0.012,
    ]
    assert pd.isna(safe["n_episodes"])


def test_notes_leave_in_declared_sentences_without_counts_of_people():
    fields = {"n_episodes": 200, "n_sites": 5}
    rows = [
        state(
            "risk_repeat_day_7",
            0.5,
            note="by day 7 the data allow shares of 0.041 to 0.2",
            **fields,
        ),
        state("risk_change_day_7", 0.5, note="only 3 of them came back", **fields),
        {"term": "mean_days_repeat", "status": "too_few", "note": "fewer than 5 events", **fields},
        {
            "term": "mean_days_change",
            "status": "not_converged",
            "note": "3 searches of S01 end elsewhere",
            **fields,
        },
    ]
    notes = protect(rows, analysis="second_line", endpoint="objective")["note"]
    assert notes.fillna("").tolist() == [
        "by day 7 the data allow a range of shares",
        "",
        "too few episodes, with the event or without it",
        "not given because the model did not converge or failed its check",
    ]


@given(st.integers(15, 10**6), st.integers(15, 10**6), st.sampled_from([4, 10, 20]))
def test_one_rounded_count_from_another_never_proves_a_difference_of_few(one, other, multiple):
    (a, b), (c, d) = (
        unround_count(round_count(number, multiple), multiple) for number in (one, other)
    )
    assert a <= one <= b
    assert c <= other <= d
    assert not (a - d >= 1 and b - c <= multiple)


@given(st.integers(2, 60), st.sampled_from([2, 4, 10, 20]))
def test_the_least_count_that_is_shown_rounds_to_nothing_that_must_not_be(least, multiple):
    rule = RULE.model_copy(update={"min_cell": least, "round_counts": multiple})
    low, high = unround_count(round_count(rule.least_shown, multiple), multiple)
    assert low == rule.least_shown >= least
    assert high - low == multiple - 1
    assert rule.least_shown - least < multiple
