"""The planted answers are what the planted probabilities say, and orders come as they should."""

from dataclasses import replace

import numpy as np
import pytest

from schemas.strata import THEN
from synthetic_data.answers import list_orders, name_order, run_order, tell_answers
from synthetic_data.draw import chance
from synthetic_data.effects import CHANCES
from synthetic_data.patients import NYSTAGMUS, RIGHT, draw_cases
from synthetic_data.pool import read_plan
from synthetic_data.scenario import VARIANTS, Scenario
from synthetic_data.signs import PATTERN_NAMES
from synthetic_data.sites import Site

MANEUVERS = read_plan().maneuvers
SURE = Site("S01", 1.0, right_side=1.0)
STILL = Scenario(attempts_per_case=1e9)  # no switches
COUNT = 20_000


def like_each_other(variant: str):
    """Median patients of one variant, all treated."""
    cases = draw_cases(np.random.default_rng(3), Scenario(), COUNT)
    return replace(
        cases,
        pattern=np.full(COUNT, PATTERN_NAMES.index(variant)),
        side=np.full(COUNT, RIGHT),
        presentation=np.full(COUNT, NYSTAGMUS),
        other_cause=np.full(COUNT, None, dtype=object),
        treated=np.ones(COUNT, bool),
        speed=np.ones(COUNT),
    )


@pytest.fixture
def done_well(monkeypatch):
    """Every maneuver is carried out in full."""
    monkeypatch.setattr(
        "synthetic_data.answers.carry_out",
        lambda rng, site, maneuver: ({}, np.ones(len(maneuver))),
    )


def test_one_session_clears_as_planted_and_the_rest_goes_by_itself(done_well):
    rng = np.random.default_rng(1)
    resolved = run_order(rng, STILL, SURE, like_each_other("posterior_long"), ("epley",), MANEUVERS)
    left = 1 - CHANCES["epley", "posterior_long"]
    days = VARIANTS["posterior_long"].remission_days
    for day in (7, 30):
        expected = 1 - left * np.exp(-day / days)
        assert np.mean(resolved <= day) == pytest.approx(expected, abs=4 * np.sqrt(0.25 / COUNT))


def test_each_further_session_multiplies_what_is_left(done_well):
    rng = np.random.default_rng(2)
    order = ("bow_and_yaw", "epley", "epley", "epley")
    resolved = run_order(rng, STILL, SURE, like_each_other("posterior_short"), order, MANEUVERS)
    left = 1 - np.array([CHANCES[each, "posterior_short"] for each in order[:2]])
    days = VARIANTS["posterior_short"].remission_days
    expected = 1 - left.prod() * np.exp(-13.9 / days)
    assert np.mean(resolved <= 13.9) == pytest.approx(expected, abs=4 * np.sqrt(0.25 / COUNT))


def test_what_sticks_is_not_freed_by_the_same_again(done_well):
    cases = like_each_other("posterior_cupula")
    same, other = (
        run_order(np.random.default_rng(4), STILL, SURE, cases, order, MANEUVERS)
        for order in (("epley",) * 4, ("epley", "semont", "semont", "semont"))
    )
    assert np.mean(other <= 14) > np.mean(same <= 14) + 0.2


def test_every_order_has_four_sessions_and_a_name_of_its_own():
    for pattern in VARIANTS:
        orders = list_orders(pattern, MANEUVERS)
        names = [name_order(order, MANEUVERS) for order in orders]
        assert len(set(names)) == len(names)
        assert all(len(order) == 4 for order in orders)
        assert all(len(name.split(THEN)) <= 3 for name in names)


def test_answers_are_of_those_who_were_treated():
    rng = np.random.default_rng(5)
    cases = draw_cases(rng, Scenario(), 400)
    cases = replace(cases, treated=chance(rng, 0.5, 400))
    answers = tell_answers(1, Scenario(), [(SURE, cases)], MANEUVERS).set_index("variant")
    treated = cases.treated & (cases.pattern == PATTERN_NAMES.index("posterior_long"))
    assert set(answers.loc["posterior_long", "patients"]) == {treated.sum()}
    shares = answers[["resolved_by_day_7", "resolved_by_day_30"]]
    assert shares.ge(0).all(axis=None)
    assert (shares["resolved_by_day_7"] <= shares["resolved_by_day_30"]).all()
