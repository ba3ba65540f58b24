"""Sessions with an adverse event under an order: counted by hand, planted ones come back, and few
have a status."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.order.session_harm import (
    HARM,
    HarmShare,
    Kind,
    compare_harm,
    list_kinds,
    list_session_events,
    share_harm,
    state_harm,
)
from pipeline.analyses.order.strategy import COMPARED, Strategy
from pipeline.analyses.order.strategy_samples import Followed, Samples
from pipeline.analyses.resolution.courses import ANOTHER, FIRST, SAME, Classes
from pipeline.statistics.g_formula import Course
from tests.unit.analyses.order.test_strategies import answer

STRATUM = {"stratum": "variant=posterior_long_arm,strategy=epley"}
SITES = [f"S{k:02d}" for k in range(6)]
LAST = 60
NOTHING = np.zeros((0, LAST), int)
KNOWN = Samples(Classes(NOTHING, NOTHING, (), ()), np.ones((7, 1)), np.eye(1), np.eye(1 + LAST))


def follow(stay: float) -> Followed:
    """The same course in every sample: each week this part of those in the state stays there."""
    share = stay ** np.ceil(np.arange(LAST + 1) / 7)
    course = Course(share, np.zeros((LAST + 1, 1)))
    return Followed([course] * (1 + len(SITES)), Course(share, np.zeros((LAST + 1, 1 + LAST))))


def count(family: str, kind: str, events: int, sessions: int) -> pd.DataFrame:
    """Sessions of a class, each of an episode of its own, events at all sites alike."""
    return pd.DataFrame(
        {
            "row": range(sessions),
            "site": np.resize(SITES, sessions),
            "family": family,
            "kind": kind,
            "harmed": np.arange(sessions) < events,
        }
    )


def share(plan, *parts: tuple) -> dict[Kind, HarmShare]:
    return share_harm(pd.concat([count(*part) for part in parts]), SITES, plan.study)


@pytest.fixture
def shares(plan):
    return share(
        plan, ("epley", FIRST, 90, 600), ("epley", SAME, 48, 600), ("gans", ANOTHER, 60, 300)
    )


def test_an_event_of_any_maneuver_of_a_day_counts_for_its_session():
    members = pd.DataFrame({"site": ["S01", "S02"], "episode_id": ["EP-1", "EP-1"]})
    sessions = pd.DataFrame(
        {"row": [0, 0, 1], "day": [0, 7, 7], "family": "epley", "kind": [FIRST, SAME, SAME]}
    )
    given = pd.DataFrame(
        {
            "site": ["S01", "S01", "S01", "S02", "S02"],
            "episode_id": "EP-1",
            "day": [0, 7, 7, 0, 7],
            "adverse": ["none", "none", "nausea", "faint", "none"],
        }
    )
    told = list_session_events(sessions, members, given)
    assert list(told["harmed"]) == [False, True, False]
    assert list(told["site"]) == ["S01", "S01", "S02"]


def test_the_classes_of_an_order_are_its_families_as_first_and_as_later_sessions(plan):
    kinds = list_kinds(Strategy("epley", "gans", 2), plan.study.strategies)
    assert kinds == [
        Kind("epley", True),
        Kind("epley", False),
        Kind("gans", False),
        Kind("gans", False),
    ]


def test_the_number_is_the_sum_over_sessions_of_being_given_and_of_an_event(plan, shares):
    kinds = list_kinds(Strategy("epley", "epley", 1), plan.study.strategies)
    row = state_harm(kinds, follow(0.5), KNOWN, shares, STRATUM, plan.study)
    assert row["estimate"] == pytest.approx(0.15 + (0.5 + 0.25 + 0.125) * 0.08)
    assert row["n_episodes"] == 48  # of the class in which the fewest had one
    # of shares that are independent, with the limits of each
    first, later = shares[Kind("epley", True)], shares[Kind("epley", False)]
    above = np.hypot(first.high - 0.15, 0.875 * (later.high - 0.08))
    assert row["upper"] == pytest.approx(row["estimate"] + above, abs=0.005)


def test_a_difference_is_that_of_two_orders_and_shared_sessions_cancel(plan, shares):
    orders = [
        (list_kinds(Strategy("epley", then, 1), plan.study.strategies), follow(stay))
        for then, stay in (("gans", 0.4), ("epley", 0.5))
    ]
    stated = [state_harm(*order, KNOWN, shares, STRATUM, plan.study) for order in orders]
    fields = STRATUM | COMPARED
    row = compare_harm(*orders, KNOWN, shares, fields, plan.study)
    assert row["term"] == f"difference_{HARM}"
    assert row["estimate"] == pytest.approx(stated[0]["estimate"] - stated[1]["estimate"])
    same = compare_harm(orders[1], orders[1], KNOWN, shares, fields, plan.study)
    assert same["estimate"] == same["lower"] == same["upper"] == 0


def test_few_with_an_event_or_events_of_one_site_have_a_status(plan, shares):
    kinds = list_kinds(Strategy("epley", "epley", 1), plan.study.strategies)
    few = share(plan, ("epley", FIRST, 90, 600), ("epley", SAME, 5, 600))
    row = state_harm(kinds, follow(0.5), KNOWN, few, STRATUM, plan.study)
    assert row["status"] == "too_few"
    assert "estimate" not in row
    alone = count("epley", SAME, 48, 600).assign(site="S00")
    first = count("epley", FIRST, 90, 600)
    of_one = share_harm(pd.concat([first, alone]), SITES, plan.study)
    row = state_harm(kinds, follow(0.5), KNOWN, of_one, STRATUM, plan.study)
    assert row["status"] == "not_identified"


def test_planted_events_come_back():
    found = answer()
    found = found[found.index.str.contains(HARM)].dropna(subset=["lower"])
    assert len(found) >= 5
    inside = found["lower"].le(found["truth"]) & found["truth"].le(found["upper"])
    assert inside.mean() > 0.8  # numbers of one pool go together
    assert (found["estimate"] - found["truth"]).abs().max() < 0.1
