"""Orders by clones and weights: cases worked out by hand, planted orders, and refusals."""

from functools import cache

import pandas as pd
import pytest

from pipeline.analyses.order.weighted_strategies import estimate_weighted_strategies
from tests.recovery.strategies import WEIGHTS, answer_strategies, find_strategy_truths
from tests.unit.analyses.order.ordered_courses import Course, gather

BY_30 = "difference_resolved_by_day_30"


def estimate(plan, courses: list[Course], sites: int = 5) -> pd.DataFrame:
    """By order, for the long arm of the posterior canal; each site has all courses."""
    every = [course for course in courses for _ in range(sites)]
    found = estimate_weighted_strategies(**gather(plan, every, sites), config=plan)
    of_order = found["stratum"].str.partition("strategy=")[2]
    return found.set_index([of_order, "term"])


def fail(family: str, then: str, grade: str, *, negative: bool) -> Course:
    """A first session that failed on day 7, another one then, and a test on day 30."""
    return Course({0: family, 7: then}, {7: grade, 30: "" if negative else "mild"})


WELL = [Course({0: "epley"}, {7: ""})] * 10 + [Course({0: "semont"}, {7: ""})] * 6
SEMONT_FAILED = [fail("semont", "semont", "mild", negative=True)] * 4


def test_without_confounding_a_difference_is_that_of_plain_shares(plan):
    """Of 20 who had Epley at each site 10 are well on day 7. Of the others 5 have it again, of whom
    2 are well on day 30, and 5 have Semont, of whom 4 are: .7 and .9 of all. With Semont 6 of 10
    are well on day 7 and 10 on day 30."""
    failed = [
        fail("epley", then, "mild", negative=k < well)
        for then, well in (("epley", 2), ("semont", 4))
        for k in range(5)
    ]
    found = estimate(plan, [*WELL, *failed, *SEMONT_FAILED])["estimate"]
    assert found["epley > semont", BY_30] == pytest.approx(0.2, abs=1e-6)
    assert found["semont", BY_30] == pytest.approx(0.3, abs=1e-6)
    assert found["semont", "difference_resolved_by_day_7"] == pytest.approx(0.1, abs=1e-6)


def test_weights_are_standardisation_where_one_class_prompts_the_change(plan):
    """At each site 10 failed with severe vertigo, of whom 8 changed and none was well on day 30,
    and 10 with mild, of whom 2 changed and all were: by grade there is no difference, where plain
    shares of those who failed, .2 and .8, differ by .6 (inverse-probability weights and
    standardisation are the same where each class has a probability of its own: Hernan MA, Robins
    JM. J Epidemiol Community Health 2006;60:578-586, from memory)."""
    failed = [
        fail("epley", "semont" if k < changed else "epley", grade, negative=grade == "mild")
        for grade, changed in (("severe", 8), ("mild", 2))
        for k in range(10)
    ]
    found = estimate(plan, [*WELL, *failed, *SEMONT_FAILED])["estimate"]
    assert found["epley > semont", BY_30] == pytest.approx(0, abs=1e-6)


def test_few_who_kept_to_an_order_and_few_sites_give_a_status(plan):
    failed = [fail("epley", "epley", "mild", negative=True)] * 5
    few = estimate(plan, [*WELL, *failed, fail("epley", "semont", "mild", negative=True)])
    assert few.loc["epley > semont", "status"].eq("too_few").all()
    failed += [fail("epley", "semont", "mild", negative=True)] * 8
    assert estimate(plan, [*WELL, *failed], sites=2)["status"].ne("ok").all()


@cache
def answer() -> pd.DataFrame:
    """One simulated pool, with the truth beside it."""
    line = answer_strategies(("treated_at_test", 1))
    columns = ["term", "stance", "estimate", "lower", "upper", "status"]
    answers = pd.DataFrame(line["answers"], columns=columns)
    weighted = answers[answers["stance"].eq(WEIGHTS)].set_index("term")
    return weighted.join(pd.Series(find_strategy_truths("treated_at_test"), name="truth"))


def test_planted_orders_come_back():
    answers = answer().dropna(subset=["truth", "lower"])
    inside = answers["lower"].le(answers["truth"]) & answers["truth"].le(answers["upper"])
    assert len(answers) > 8
    assert inside.mean() > 0.8  # numbers of one pool go together


def test_only_what_differs_by_the_plan_is_told():
    """Day 7 is that of the second session: until then orders that begin alike are the same."""
    terms = pd.Series(answer().index)
    by_day_7 = terms[terms.str.endswith("by_day_7")]
    assert len(by_day_7) > 0
    assert not by_day_7.str.contains("epley > ").where(by_day_7.str.contains("posterior")).any()
