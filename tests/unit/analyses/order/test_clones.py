"""Clones: who is censored where, and what weights must do whatever the data."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.analyses.order.clones import Choices, take_apart
from pipeline.analyses.order.strategy import Strategy
from pipeline.statistics.guard import Refusal
from pipeline.statistics.npmle import fit_npmle
from tests.unit.analyses.order.ordered_courses import Course, decide

AGAIN = Strategy("epley", "epley", 1)
CHANGED = Strategy("epley", "semont", 1)
LATER = Strategy("epley", "epley", 2)._replace(then="semont")
OTHER = Strategy("semont", "semont", 1)


def choose(plan, courses: list[Course], sites: int = 5) -> Choices:
    return Choices(*decide(plan, courses, sites), plan.study)


def test_a_clone_lives_until_its_first_departure(plan):
    failed = {7: "mild", 14: "mild", 21: ""}
    courses = [
        Course({0: "epley"}, {7: ""}),
        Course({0: "epley", 7: "epley", 14: "epley"}, failed),
        Course({0: "epley", 7: "epley", 14: "semont"}, failed),
        Course({0: "epley", 7: "semont", 14: "semont"}, failed),
        Course({0: "epley", 7: "semont", 14: "epley"}, failed),
        Course({0: "epley"}, {7: "mild", 21: ""}),
        Course({0: "semont", 7: "semont"}, {7: "mild", 14: ""}),
    ]
    choices = choose(plan, courses, sites=1)
    alive = {s.name: list(choices.clone(s).alive.nonzero()[0]) for s in (AGAIN, CHANGED, LATER)}
    assert alive == {
        "epley": [0, 1],
        "epley > semont": [0, 3],
        "epley > epley > semont": [0, 2],
    }
    assert list(choices.clone(OTHER).alive.nonzero()[0]) == [6]
    assert list(choices.clone(LATER).switched.nonzero()[0]) == [2]


def test_where_nobody_kept_to_it_clones_are_known_to_be_unresolved_until_then(plan):
    failed = Course({0: "epley", 7: "semont"}, {7: "mild", 14: "mild", 21: "", 50: ""})
    choices = choose(plan, [Course({0: "epley"}, {7: ""})] * 3 + [failed] * 2, sites=1)
    clones = choices.clone(AGAIN)
    left, right = choices.find_intervals(clones)
    assert clones.alive.all()
    assert list(zip(left, right, strict=True)) == [(0, 7)] * 3 + [(7, np.inf)] * 2


def draw(seed: int, n: int = 200) -> list[Course]:
    """Courses whose changes depend on the grade of vertigo."""
    rng = np.random.default_rng(seed)
    courses = []
    for _ in range(n):
        family = rng.choice(["epley", "semont"])
        sessions, tests = {0: family}, {}
        for day in (7, 14, 21):
            if rng.random() < 0.4:
                tests[day] = ""
                break
            tests[day] = rng.choice(["mild", "severe"])
            if rng.random() < (0.7 if tests[day] == "severe" else 0.3):
                family = "semont" if family == "epley" else "epley"
            sessions[day] = family
        courses.append(Course(sessions, tests))
    return courses


@pytest.mark.parametrize("seed", range(3))
def test_each_decision_hands_on_the_weight_of_all_who_stand_there(plan, seed):
    choices = choose(plan, draw(seed))
    for strategy in (AGAIN, CHANGED, LATER, OTHER):
        clones = choices.clone(strategy)
        weights = choices.weigh(clones)
        assert not isinstance(weights, Refusal)
        assert (weights[:, ~clones.alive] == 0).all()
        begun = choices._find_probabilities(strategy.first)
        first = np.where(clones.begun & (begun > 0), 1 / np.where(begun > 0, begun, 1), 0)
        assert weights[0].sum() == pytest.approx(first[0].sum())


def test_where_all_kept_to_one_strategy_the_curve_is_the_one_without_weights(plan):
    """Weights that are all alike give Turnbull's estimate, whatever they are."""
    courses = [Course({0: "epley"}, {7: ""})] * 20
    courses += [Course({0: "epley", 7: "epley"}, {7: "mild", 14: ""})] * 15
    courses += [Course({0: "epley", 7: "epley"}, {7: "mild", 28: "mild"})] * 5
    choices = choose(plan, courses)
    weights = choices.weigh(choices.clone(AGAIN))[0]
    kept = weights > 0
    left, right = (choices.members[side].to_numpy(float)[kept] for side in ("left", "right"))
    weighted, plain = fit_npmle(left, right, weights[kept]), fit_npmle(left, right)
    assert kept.all()
    assert weights == pytest.approx(np.ones(40))
    assert weighted.mass == pytest.approx(plain.mass)
    assert plain.survival([7, 14, 28])[1] == pytest.approx([0.5, 0.125, 0.125])


WEIGHTS = st.lists(st.floats(0, 5), min_size=6, max_size=6).map(np.array)


@settings(max_examples=50, deadline=None)
@given(WEIGHTS, WEIGHTS, WEIGHTS)
def test_what_both_share_says_nothing_of_their_difference(first, second, values):
    if not (first.sum() > 0.1 and second.sum() > 0.1):
        return
    a, b, part = take_apart(first[None], second[None])
    whole = second @ values / second.sum() - first @ values / first.sum()
    assert a.sum() == pytest.approx(part[0], abs=1e-9)
    assert b.sum() == pytest.approx(part[0], abs=1e-9)
    assert (b[0] - a[0]) @ values == pytest.approx(whole, abs=1e-9)
    assert (np.minimum(a, b) == 0).all()
