"""Small groups are hidden or bounded, counts and other numbers are rounded,
and marks say what is so."""

import pandas as pd
import pytest

from pipeline.disclosure.people import describe_rows, read_by_site
from pipeline.disclosure.protect import BOUND, FINE, HIDDEN, hide_small_groups
from pipeline.disclosure.rounding import round_counts, round_released
from pipeline.statistics.tidy import state, tidy_estimates
from schemas.quantities import Undeclared
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
    fields = {"stratum": "reason=technique", "n_episodes": whole, "n_events": events, "n_sites": 5}
    safe = protect(
        [state("share", events / whole, lower=0.1, upper=0.2, **fields)], analysis="non_positional"
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
    fields = {"n_sites": 5, "n_episodes": 100}
    rows = [
        state("risk_repeat_day_7", 0.5, **fields),
        state("risk_change_day_7", 0.05, **fields),
        state("risk_difference_day_7", -0.45, comparison="repeat", **fields),
        state("risk_ratio_day_7", 0.1, comparison="repeat", **fields),
        state("e_value_day_7", 3, comparison="repeat", **fields),
    ]
    safe = protect(rows, analysis="second_line", endpoint="objective")
    assert safe["status"].tolist() == ["ok", "bounded", "suppressed", "suppressed", "suppressed"]
    assert safe["note"].tolist()[2:] == [HIDDEN] * 3


def test_a_division_too_fine_stays():
    fields = {
        "n_episodes": 100,
        "n_events": 60,
        "n_sites": 5,
        "stratum": "canal=posterior,path=epley",
    }
    safe = protect([state("reached", 60, **fields)], analysis="sequence_paths").iloc[0]
    assert (safe["status"], safe["note"]) == ("suppressed", FINE)
    assert pd.isna(safe["n_episodes"])


def test_where_episodes_went_is_rounded_and_few_are_given_as_that():
    counts = {
        "untreated": 54,
        "incomplete_record": 3,
        "never_positive": 9,
        "not_tested_again": 166,
        "followed": 676,
    }
    released = release(flow(positional=908, **counts)).rows.set_index("term")
    shown = {"positional": 910, "untreated": 50, "not_tested_again": 170, "followed": 680}
    assert released["estimate"].dropna().to_dict() == shown
    assert released["rounded"].dropna().to_dict() == dict.fromkeys(shown, "estimate n_episodes")
    assert released.loc[["incomplete_record", "never_positive"], "upper"].tolist() == [14, 14]


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
    released = release(
        tidy_estimates(rows, analysis="failure_reasons", population="p", method="m")
    ).rows
    assert released["estimate"].tolist() == [0.19, 0.2]
    assert released["rounded"].tolist() == ["n_episodes n_events", "estimate n_episodes"]
    assert released["n_events"].isna().tolist() == [False, True]
