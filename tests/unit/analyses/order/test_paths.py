"""Paths taken: counts add up at every step, shares are those of whoever was tested,
and nobody's later course decides earlier counts."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta

from pipeline.analyses.order.paths import MOST_SESSIONS, describe_sequences
from pipeline.disclosure.people import describe_rows
from schemas.derived import Adjudications, Sequences
from schemas.strata import THEN, TOGETHER

FAMILIES = ["epley", "semont", "gufoni"]
ENDS = ["resolved", "resolved_later", "tested_again", "never_tested_again"]


def build(
    paths: list[tuple[list[str], str]], canals=("posterior",), statuses=None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Sequences and verdicts; each path is its families and how it ended.

    Every test before a further session is positive.
    """
    last = {
        "resolved": "negative",
        "resolved_later": "positive",
        "tested_again": "positive",
        "never_tested_again": "not_tested_again",
    }
    status = {
        "resolved": "resolved",
        "resolved_later": "resolved",
        "tested_again": "unresolved",
        "never_tested_again": "not_tested_again",
    }
    n = len(paths)
    base = pd.DataFrame(
        {
            "site": [f"S{1 + i % 4:02d}" for i in range(n)],
            "episode_id": [f"EP-{i}" for i in range(n)],
        }
    )
    outcomes = [
        THEN.join([*["positive"] * (len(families) - 1), last[end]]) for families, end in paths
    ]
    rows = base.assign(
        patient_id=base["episode_id"],
        path=[THEN.join(families) for families, _ in paths],
        outcomes=outcomes,
        sessions=[len(families) for families, _ in paths],
        status=statuses or [status[end] for _, end in paths],
    )
    resolved = rows["status"].eq("resolved")
    rows["resolved_after"] = rows["sessions"].where(resolved)
    rows["at_next_test"] = rows["outcomes"].str.endswith("negative").where(resolved)
    texts = dict.fromkeys(["variants", "side_signs", "criteria", "reasons_against"], "")
    verdicts = base.assign(
        **texts
        | {
            "positional": "yes",
            "side": "right",
            "arm": "long",
            "mechanism": "unknown",
            "certainty": "definite",
        },
        canal=[canals[i % len(canals)] for i in range(n)],
        **{
            "arm_basis": pd.NA,
            "known_day": 0,
            "recognised_day": pd.NA,
            "side_by": "plane",
            "reclassified_day": pd.NA,
        },
    )
    return Sequences.cast(rows), Adjudications.cast(verdicts)


def cells(estimates: pd.DataFrame, stratum: str) -> pd.Series:
    return estimates[estimates["stratum"].eq(stratum)].set_index("term")["estimate"]


def test_one_small_pool_counted_by_hand(plan):
    paths = (
        20 * [(["epley"], "resolved")]
        + 3 * [(["epley"], "resolved_later")]
        + 2 * [(["epley"], "tested_again")]
    )
    paths += (
        5 * [(["epley"], "never_tested_again")]
        + 15 * [(["epley", "epley"], "resolved")]
        + 4 * [(["epley", "semont"], "tested_again")]
    )
    paths += 7 * [(["gufoni"], "resolved")]
    estimates = describe_sequences(*build(paths), plan)
    start, epley = cells(estimates, "path=start"), cells(estimates, "path=epley")
    assert start.to_dict() == {"reached": 56, "next=epley": 49, "next=rarer": 7}
    assert epley.drop("share_resolved_at_next_test").to_dict() == {
        "reached": 49,
        "resolved_at_next_test": 20,
        "resolved_at_later_test": 3,
        "no_further_session": 2,
        "never_tested_again": 5,
        "next=epley": 15,
        "next=rarer": 4,
        "next_without_test": 0,
    }
    share = estimates[
        estimates["stratum"].eq("path=epley") & estimates["term"].eq("share_resolved_at_next_test")
    ].iloc[0]
    assert (share["n_episodes"], share["n_events"], share["n_sites"]) == (44, 20, 4)
    assert share["estimate"] == 20 / 44
    # Clopper & Pearson 1934 by the quantiles of the beta distribution
    assert share["lower"] == pytest.approx(beta.ppf(0.025, 20, 25))
    assert share["upper"] == pytest.approx(beta.ppf(0.975, 21, 24))
    assert cells(estimates, "path=epley > epley")["reached"] == 15
    assert cells(estimates, "path=gufoni").empty


def test_a_session_before_which_nobody_tested_is_no_failure(plan):
    sequences, verdicts = build(
        30 * [(["epley", "semont"], "resolved")] + 20 * [(["epley"], "resolved")]
    )
    unseen = sequences["sessions"].eq(2) & (np.arange(50) < 10)
    sequences["outcomes"] = sequences["outcomes"].mask(unseen, f"not_tested_again{THEN}negative")
    estimates = describe_sequences(sequences, verdicts, plan)
    epley = cells(estimates, "path=epley")
    assert epley["next_without_test"] == 10
    assert epley["share_resolved_at_next_test"] == 20 / 40


def test_a_return_after_a_negative_test_is_not_resolved_by_that_test(plan):
    # negative at first, positive again within the gap, resolved at last without another session
    sequences, verdicts = build(25 * [(["epley"], "resolved")])
    sequences["at_next_test"] = np.arange(25) >= 10
    estimates = describe_sequences(sequences, verdicts, plan)
    epley = cells(estimates, "path=epley")
    assert (epley["resolved_at_next_test"], epley["resolved_at_later_test"]) == (15, 10)
    assert epley["share_resolved_at_next_test"] == 15 / 25


STEPS = st.lists(
    st.tuples(st.lists(st.sampled_from(FAMILIES), min_size=1, max_size=5), st.sampled_from(ENDS)),
    min_size=1,
    max_size=150,
)


@settings(max_examples=15)
@given(STEPS, st.randoms(use_true_random=False))
def test_counts_add_up_at_every_step_and_for_every_canal(plan, paths, random):
    canals = ("posterior", "lateral", "unknown")
    estimates = describe_sequences(*build(paths, canals), plan)
    counts = estimates[
        estimates["method"].eq("count")
        & estimates["status"].eq("ok")
        & estimates["stratum"].ne("all")
    ]
    assert (counts["estimate"] == counts["n_events"]).all()
    for stratum, part in counts.groupby("stratum"):
        number = part.set_index("term")["estimate"]
        parts = number.drop(["reached", "next_without_test"], errors="ignore")
        assert parts.sum() == number["reached"]
        path = stratum.rsplit("path=", 1)[1]
        taken = [] if path == "start" else path.split(THEN)
        by_hand = [f for f, _ in paths if f[: len(taken)] == taken]
        if not stratum.startswith("canal"):
            assert number["reached"] == len(by_hand)
        assert len(taken) <= MOST_SESSIONS
        prefix = stratum[: -len(path)] + ("" if path == "start" else path + THEN)
        for term in number.index[
            number.index.str.startswith("next=") & (number.index != "next=rarer")
        ]:
            if len(taken) < MOST_SESSIONS:
                assert (
                    cells(estimates, prefix + term.removeprefix("next="))["reached"] == number[term]
                )
    everybody = cells(estimates, "path=start")
    assert estimates.loc[
        estimates["stratum"].str.fullmatch(r"canal=\w+,path=start")
        & estimates["term"].eq("reached"),
        "n_events",
    ].sum() == len(paths)
    assert estimates.loc[estimates["term"].eq("treated"), "estimate"].item() == len(paths)
    assert everybody.isna().all() or everybody["reached"] == len(paths)
    sequences, verdicts = build(paths, canals)
    order = list(range(len(paths)))
    random.shuffle(order)
    pd.testing.assert_frame_equal(
        estimates, describe_sequences(sequences.iloc[order], verdicts, plan)
    )


def test_the_later_course_does_not_change_an_earlier_step(plan):
    short = 15 * [(["epley"], "resolved")] + 30 * [(["epley", "semont"], "resolved")]
    long = 15 * [(["epley"], "resolved")] + 30 * [
        (["epley", "semont", "gufoni", "gufoni"], "never_tested_again")
    ]
    for stratum in ("path=start", "path=epley"):
        one, other = (
            cells(describe_sequences(*build(paths), plan), stratum) for paths in (short, long)
        )
        pd.testing.assert_series_equal(one, other)


def test_incomplete_records_are_counted_and_left_out(plan):
    statuses = ["incomplete_record"] * 3 + ["never_positive"] * 2 + ["resolved"] * 15
    estimates = describe_sequences(*build(20 * [(["epley"], "resolved")], statuses=statuses), plan)
    assert cells(estimates, "all").to_dict() == {
        "treated": 20,
        "incomplete_record": 3,
        "never_positive": 2,
    }
    assert cells(estimates, "path=start")["reached"] == 15


def test_few_episodes_give_a_status_and_no_number(plan):
    estimates = describe_sequences(*build(5 * [(["epley"], "resolved")]), plan)
    row = estimates[estimates["stratum"].eq("path=start")]
    assert row["status"].tolist() == ["too_few"]
    assert row["estimate"].isna().all()


def test_other_verdicts_never_enter(plan):
    sequences, verdicts = build(30 * [(["epley"], "resolved")])
    apart = Adjudications.cast(verdicts.assign(positional=["yes"] * 20 + ["undetermined"] * 10))
    assert cells(describe_sequences(sequences, apart, plan), "path=start")["reached"] == 20


def test_sessions_of_several_families_are_followed_like_others(plan):
    both = f"epley{TOGETHER}semont"
    paths = 40 * [([both], "resolved")] + 30 * [([both, "epley"], "resolved")]
    estimates = describe_sequences(*build(paths), plan)
    assert cells(estimates, f"path={both}")["next=epley"] == 30
    assert describe_rows(estimates).notna().all()  # and may leave
