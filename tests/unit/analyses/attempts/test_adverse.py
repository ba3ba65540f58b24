"""Adverse events: one person counts once, whatever the session had, and later sessions do not."""

import pandas as pd
import pytest
from scipy.stats import binomtest

from pipeline.analyses.attempts.adverse import describe_adverse, list_events
from tests.unit.conftest import build_table

SITES = ("S01", "S02", "S03", "S04", "S05")


def gather(given: list[list[tuple[int, str]]], **more) -> dict[str, pd.DataFrame]:
    """Rows of treated episodes, each with the day and the adverse event of its attempts."""
    who = [{"site": SITES[n % len(SITES)], "episode_id": f"EP-{n}"} for n in range(len(given))]
    keys = pd.DataFrame(who).astype("string")
    attempts = [
        key | {"attempt": number, "day": day, "adverse": event}
        for key, events in zip(who, given, strict=True)
        for number, (day, event) in enumerate(events, 1)
    ]
    session = {"session": 1, "day": 0, "setting": "clinic", "performed_by": "clinician"}
    return {
        "episodes": build_table(
            "episodes",
            [
                key | {"neck_limitation": limited}
                for key, limited in zip(who, more.get("neck", ["no"] * len(who)), strict=True)
            ],
        ),
        "treatments": build_table("treatments", attempts),
        "adjudications": keys.assign(positional=more.get("positional", "yes")),
        "attempts": keys.assign(family=more.get("family", "epley"), **session),
    }


def test_events_of_the_first_session_count_once_and_later_ones_do_not(plan):
    rows = gather(
        [
            [(0, "nausea"), (0, "vomiting")],
            [(0, "none"), (0, "neck_pain")],
            [(0, "none"), (7, "faint")],
        ]
    )
    listed = list_events(**rows, config=plan).set_index("episode_id")
    assert listed["nausea"].tolist() == [True, False, False]
    assert listed["pain"].tolist() == [False, True, False]
    assert not listed["faint"].any()
    assert listed["any"].tolist() == [True, True, False]
    assert set(listed["place"]) == {"clinic"}


def test_only_treated_positional_episodes_count(plan):
    verdicts = ["yes", "probable_non_positional", "undetermined"]
    rows = gather([[(0, "nausea")]] * 3, positional=verdicts)
    assert list(list_events(**rows, config=plan)["episode_id"]) == ["EP-0"]


def test_shares_and_exact_limits_of_a_small_pool(plan):
    rows = gather([[(0, "nausea")]] * 10 + [[(0, "none")]] * 30, neck=["yes"] * 20 + ["no"] * 20)
    shares = describe_adverse(**rows, config=plan).set_index(["stratum", "term"])
    whole = shares.loc[("all", "adverse_nausea")]
    assert (whole["estimate"], whole["n_events"], whole["n_sites"]) == (0.25, 10, 5)
    exact = binomtest(10, 40).proportion_ci(method="exact")
    assert whole["lower"] == pytest.approx(exact.low)
    assert whole["upper"] == pytest.approx(exact.high)
    assert shares.loc[("neck_limitation=yes", "adverse_any"), "estimate"] == 0.5
    assert shares.loc[("family=epley", "adverse_any"), "estimate"] == 0.25
    none = shares.loc[("all", "adverse_faint")]
    assert none["lower"] == 0 < none["estimate"] + none["upper"]


def test_a_session_of_two_families_is_in_no_family(plan):
    rows = gather([[(0, "none")]] * 12, family=["epley"] * 11 + ["epley semont"])
    shares = describe_adverse(**rows, config=plan)
    assert {s for s in shares["stratum"] if s.startswith("family=")} == {"family=epley"}
    assert shares.loc[shares["stratum"].eq("family=epley"), "n_episodes"].eq(11).all()


def test_of_few_episodes_nothing_is_told(plan):
    rows = gather([[(0, "none")]] * 5)
    assert describe_adverse(**rows, config=plan)["status"].eq("too_few").all()
