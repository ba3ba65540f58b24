"""Small groups are hidden or bounded, counts and other numbers are rounded,
and marks say what is so."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.disclosure.cells import list_cells
from pipeline.disclosure.people import describe_rows, read_by_site
from pipeline.disclosure.protect import BOUND, FINE, HIDDEN, hide_small_groups
from pipeline.disclosure.rounding import round_counts, round_released, unround_count
from pipeline.disclosure.share_sums import find_exposed_shares, list_share_sums
from pipeline.statistics.tidy import state, tidy_estimates
from schemas.quantities import Undeclared
from schemas.study import round_count
from tests.pool_of_counts import RULE, flow, release


def protect(rows: list[dict], **shared: str) -> pd.DataFrame:
    """Some rows, each judged by itself, and rounded."""
    estimates = tidy_estimates(
        rows, **{"method": "m", "population": "positional", "stratum": "all"} | shared
    )
    described = describe_rows(estimates)
    safe = round_released(
        hide_small_groups(estimates, described, read_by_site(estimates), RULE), described
    )
    return round_counts(safe, described, RULE.round_counts)


def test_a_number_that_no_declaration_knows_is_not_released():
    rows = [state("how_many_more", 5, stratum="all", n_episodes=50, n_sites=5)]
    with pytest.raises(Undeclared, match="“how_many_more”"):
        release(tidy_estimates(rows, analysis="second_line", population="positional", method="m"))


@pytest.mark.parametrize("count", [0, 1, 10, 14, 15])
def test_a_count_below_the_least_group_says_no_more_than_that_and_nobody_is_one(count):
    safe = protect(
        [state("undetermined", count, n_episodes=count, n_sites=5)], analysis="episode_flow"
    ).iloc[0]
    if count == 15:
        assert (safe["status"], safe["estimate"], safe["n_episodes"]) == ("ok", 20, 20)
    else:
        assert (safe["status"], safe["upper"], safe["note"]) == ("bounded", 14, BOUND)
        assert pd.isna(safe[["estimate", "lower", "n_episodes", "n_events", "n_sites"]]).all()


@pytest.mark.parametrize(
    ("events", "whole", "lower", "upper"),
    [(5, 189, None, 0.08), (0, 189, None, 0.08), (184, 189, 0.92, None)],
)
def test_a_share_of_which_one_side_is_small_is_given_as_a_bound(events, whole, lower, upper):
    where = {"stratum": "reason=technique", "n_episodes": whole, "n_events": events, "n_sites": 5}
    safe = protect(
        [state("share", events / whole, lower=0.1, upper=0.2, **where)], analysis="non_positional"
    ).iloc[0]
    assert (safe["status"], safe["n_episodes"]) == ("bounded", 190)
    assert pd.isna(safe[["estimate", "n_events", "n_sites"]]).all()
    assert (
        None if pd.isna(safe["lower"]) else safe["lower"],
        None if pd.isna(safe["upper"]) else safe["upper"],
    ) == (
        lower,
        upper,
    )


def test_of_few_people_no_share_is_given_and_of_fewer_not_even_their_number():
    rows = [
        state("share", 0.5, stratum="reason=a", n_episodes=29, n_events=15, n_sites=5),
        state("share", 0.5, stratum="reason=b", n_episodes=14, n_events=5, n_sites=5),
    ]
    safe = protect(rows, analysis="non_positional")
    assert safe["note"].tolist() == [HIDDEN, HIDDEN]
    assert (
        safe[["estimate", "lower", "upper", "n_episodes", "n_events", "n_sites"]]
        .isna()
        .all(axis=None)
    )


def test_an_estimated_share_is_judged_by_how_many_it_stands_for():
    # few were seen to be resolved, but how many is not told: only what the share stands for is
    rows = [
        state(
            "resolved_by_day_1",
            share,
            stratum=f"canal={name}",
            n_episodes=100,
            n_events=5,
            n_sites=5,
        )
        for name, share in (("posterior", 0.3), ("lateral", 0.1), ("multiple", 0.9))
    ]
    safe = protect(rows, analysis="resolution_curves", endpoint="objective").set_index("stratum")
    assert safe["status"].tolist() == ["ok", "bounded", "bounded"]
    assert safe.loc["canal=lateral", "upper"] == 0.11
    assert safe.loc["canal=multiple", "lower"] == 0.89
    assert safe["n_events"].isna().all()
    assert safe["n_episodes"].tolist() == [100, 100, 100]


def test_a_single_site_shows_neither_its_size_nor_a_bound():
    rows = [
        state(
            "canal_agreement",
            share,
            stratum=f"site=S0{k}",
            n_episodes=n,
            n_events=round(share * n),
            n_sites=1,
        )
        for k, share, n in ((1, 0.7, 100), (2, 0.95, 100))
    ]
    safe = protect(rows, analysis="diagnosis_agreement")
    assert safe["note"].fillna("").tolist() == ["", HIDDEN]
    assert safe[["n_episodes", "n_events"]].isna().all(axis=None)


def test_a_comparison_is_hidden_with_an_arm():
    where = {"n_sites": 5, "n_episodes": 100}
    rows = [
        state("risk_repeat_day_7", 0.5, **where),
        state("risk_change_day_7", 0.05, **where),
        state("risk_difference_day_7", -0.45, comparison="repeat", **where),
        state("risk_ratio_day_7", 0.1, comparison="repeat", **where),
        state("e_value_day_7", 3, comparison="repeat", **where),
    ]
    safe = protect(rows, analysis="second_line", endpoint="objective")
    assert safe["status"].tolist() == ["ok", "bounded", "suppressed", "suppressed", "suppressed"]
    assert safe["note"].tolist()[2:] == [HIDDEN] * 3


def test_a_division_too_fine_stays():
    where = {
        "n_episodes": 100,
        "n_events": 60,
        "n_sites": 5,
        "stratum": "canal=posterior,path=epley",
    }
    safe = protect([state("reached", 60, **where)], analysis="sequence_paths").iloc[0]
    assert (safe["status"], safe["note"]) == ("suppressed", FINE)
    assert pd.isna(safe["n_episodes"])


def test_numbers_leave_rounded_by_their_kind_and_errors_of_shares_stay():
    where = {"n_sites": 5, "std_error": 0.0123456}
    rows = [
        state(
            "resolved_by_day_7", 0.571234, n_episodes=500, lower=0.412345, upper=0.723456, **where
        ),
        state(
            "resolved_by_day_30", 0.571234, n_episodes=5000, lower=0.412345, upper=0.723456, **where
        ),
        state("median_days", 4, n_episodes=500, lower=2, upper=8, **where),
    ]
    safe = protect(rows, analysis="resolution_curves", endpoint="objective")
    assert safe["estimate"].tolist() == [0.57, 0.57, 4]
    assert safe["lower"].tolist() == [0.41, 0.41, 2]
    assert safe["std_error"].isna().all()
    ratio = state(
        "sex=male", 1.234567, n_episodes=500, lower=0.9876, upper=1.55555, p_value=0.012345, **where
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
    where = {"n_episodes": 200, "n_sites": 5}
    rows = [
        state(
            "risk_repeat_day_7", 0.5, note="by day 7 the data allow shares of 0.041 to 0.2", **where
        ),
        state("risk_change_day_7", 0.5, note="only 3 of them came back", **where),
        {"term": "mean_days_repeat", "status": "too_few", "note": "fewer than 5 events", **where},
        {
            "term": "mean_days_change",
            "status": "not_converged",
            "note": "3 searches of S01 end elsewhere",
            **where,
        },
    ]
    notes = protect(rows, analysis="second_line", endpoint="objective")["note"]
    assert notes.fillna("").tolist() == [
        "by day 7 the data allow a range of shares",
        "",
        "too few episodes, with the event or without it",
        "the solution check failed",
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


def test_where_episodes_went_is_rounded_and_few_are_given_as_that():
    counts = {
        "untreated": 54,
        "incomplete_record": 3,
        "never_positive": 9,
        "not_looked": 166,
        "followed": 676,
    }
    told = release(flow(positional=908, **counts)).rows.set_index("term")
    shown = {"positional": 910, "untreated": 50, "not_looked": 170, "followed": 680}
    assert told["estimate"].dropna().to_dict() == shown
    assert told["rounded"].dropna().to_dict() == dict.fromkeys(shown, "estimate n_episodes")
    assert told.loc[["incomplete_record", "never_positive"], "upper"].tolist() == [14, 14]


def test_a_share_is_in_coarse_steps_where_it_would_tell_too_much():
    rows = [
        state(
            "share",
            n / 314,
            stratum=f"view={view},reason=technique",
            n_episodes=314,
            n_events=n,
            n_sites=5,
            by_site=None,
        )
        for view, n in (("at_the_time", 60), ("in_hindsight", 66))
    ]
    told = release(
        tidy_estimates(rows, analysis="failure_reasons", population="p", method="m")
    ).rows
    assert told["estimate"].tolist() == [0.19, 0.2]
    assert told["rounded"].tolist() == ["n_episodes n_events", "estimate n_episodes"]
    assert told["n_events"].isna().tolist() == [False, True]


@pytest.mark.parametrize(
    ("free", "switched", "reclassified", "hidden"),
    [
        (0.24, 0.1, 0.04, []),  # of two small ones each may be nobody
        (
            0.21,
            0.13,
            0.04,
            ["incidence_switched_day_7"],
        ),  # the only small one follows from the others: one more is hidden
        (0.2, 0.18, 0.0, []),  # it may be nobody
    ],
)
def test_shares_that_add_up_to_one_do_not_tell_the_hidden_one(free, switched, reclassified, hidden):
    shares = {"resolved": 0.62, "switched": switched, "reclassified": reclassified}
    shares = {f"incidence_{event}_day_7": share for event, share in shares.items()} | {
        "event_free_day_7": free
    }
    rows = [
        state(term, share, stratum="all", n_episodes=100, n_sites=5)
        for term, share in shares.items()
    ]
    shared = {
        "analysis": "competing_events",
        "population": "positional",
        "endpoint": "objective",
        "method": "m",
    }
    table = tidy_estimates(rows, **shared)
    described = describe_rows(table)
    safe = round_released(hide_small_groups(table, described, read_by_site(table), RULE), described)
    cells = list_cells(table, described, read_by_site(table), RULE)
    sums = list_share_sums(cells, table, described)
    people, own = np.array([100.0]), np.zeros(1)
    assert [
        table.at[label, "term"]
        for label in find_exposed_shares(sums, safe, people, people, own, 11)
    ] == hidden


@pytest.mark.parametrize(
    "canals",
    [
        # 1 - .34 - .39 - .24 of about 180
        {"posterior": 60, "lateral": 70, "unknown": 42, "multiple": 6},
        # two hidden ones together
        {"posterior": 60, "lateral": 70, "unknown": 44, "multiple": 2, "anterior": 2},
    ],
)
def test_shares_of_one_group_do_not_tell_the_hidden_ones_by_what_is_left(canals):
    rows = [
        state("share", n / 178, stratum=f"canal={canal}", n_episodes=178, n_events=n, n_sites=5)
        for canal, n in canals.items()
    ]
    told = release(
        tidy_estimates(rows, analysis="pool_description", population="positional", method="m")
    ).rows
    told = told.set_index(told["stratum"].str.removeprefix("canal="))
    hidden = [canal for canal, n in canals.items() if n < RULE.least_shown]
    half = np.where(told["rounded"].str.contains("estimate").fillna(False), 0.025, 0.005)
    shares = told["estimate"].drop(hidden).astype(float)
    half = pd.Series(half, told.index).drop(hidden)
    most = 184 * (1 - (shares - half).sum())
    least = 175 * (1 - (shares + half).sum())
    assert least < 0.5 or most > RULE.min_cell - 0.5
    assert told["status"].drop(hidden).eq("ok").all()


def test_shares_of_one_group_do_not_tell_who_is_between_two_of_them():
    """118 and 112 of 142: .83 and, in coarse steps, .8 begin and end at .825,
    which is no whole number of people of 135 to 144."""
    rows = [
        state(
            f"fell_by_{points}_by_day_90",
            n / 142,
            stratum="all",
            n_episodes=142,
            n_events=n,
            n_sites=19,
        )
        for points, n in ((11, 118), (18, 112))
    ]
    shared = {
        "analysis": "handicap_change",
        "population": "positional",
        "endpoint": "objective",
        "method": "share",
    }
    told = release(tidy_estimates(rows, **shared)).rows
    shown = told["status"].eq("ok")
    if shown.all():
        coarse = told["rounded"].str.contains("estimate").fillna(False).to_numpy(bool)
        low, high = (
            told["estimate"].to_numpy(float) + sign * np.where(coarse, 0.025, 0.005)
            for sign in (-1, 1)
        )
        sizes = np.arange(135, 145)
        assert (np.ceil(low[0] * sizes - 1e-9) <= np.floor(high[1] * sizes + 1e-9)).any()
