"""Which order of maneuvers: planted orders come back, and too few give a status."""

from functools import cache

import pandas as pd

from pipeline.analyses.order.strategies import estimate_strategies
from pipeline.analyses.resolution.curves import NOBODY
from tests.recovery.strategies import answer_strategies, find_strategy_truths
from tests.unit.analyses.resolution.tested_episodes import ANALYSED, gather

YEARS = pd.DataFrame({"index_year": pd.array([2024], dtype="Int64")})


@cache
def answer() -> pd.DataFrame:
    """One simulated pool, with the truth beside it."""
    line = answer_strategies(("treated_at_test", 1))
    columns = ["term", "stance", "estimate", "lower", "upper", "status"]
    answers = pd.DataFrame(line["answers"], columns=columns)
    of_orders = answers["stance"].eq("honest") & answers["term"].str.contains("strategy=")
    honest = answers[of_orders].set_index("term")
    return honest.join(pd.Series(find_strategy_truths("treated_at_test"), name="truth"))


def test_planted_orders_come_back():
    answers = answer().dropna(subset=["truth", "lower"])
    inside = answers["lower"].le(answers["truth"]) & answers["truth"].le(answers["upper"])
    assert len(answers) > 60
    assert inside.mean() > 0.8  # numbers of one pool go together


def test_where_nothing_differs_no_interval_is_told_to():
    answers = answer()
    equal = answers[answers.index.str.contains("lateral.* difference_") & answers["lower"].notna()]
    assert len(equal) > 20
    equal = equal[~equal.index.str.contains("adverse")]
    assert equal["truth"].eq(0).all()
    assert (equal["lower"].le(0) & equal["upper"].ge(0)).mean() > 0.8


def test_where_all_clinics_test_on_day_7_nobody_tells_of_orders_by_day_1():
    answers = answer()
    shares = answers[answers.index.str.contains("resolved_by_day_1$")]
    assert len(shares) > 10
    assert shares["status"].eq(NOBODY.status).all()
    later = answers[answers.index.str.contains(" resolved_by_day_7$")]
    assert later["status"].eq("ok").all()


def test_few_sites_or_few_sessions_give_a_status(plan):
    names = [name for name in ANALYSED if name != "attempts"]
    names += ["examinations", "treatments", "followups"]
    courses = [{7: False}] * 30 + [{7: True, 14: False}] * 30

    def estimate(sites: int) -> pd.DataFrame:
        rows = gather(plan, courses, sites=sites)
        return estimate_strategies(YEARS, **{name: rows[name] for name in names}, config=plan)

    few_sites, once = estimate(2), estimate(5)
    for estimates, status in ((few_sites, "not_identified"), (once, "too_few")):
        is_count = estimates["term"].eq("rarest_session")
        # each had one session, so that nothing is known of the same again
        assert estimates.loc[is_count, "estimate"].eq(0).all()
        assert estimates.loc[~is_count, "status"].eq(status).all()
        assert (~is_count).sum() > 0


def test_a_session_of_several_families_is_no_order_even_where_most_are_such(plan):
    rows = gather(plan, [{7: False}] * 60, sites=5)
    given = rows["treatments"]
    assert set(given["maneuver"]) == {"epley"}
    second = given.assign(maneuver="semont", attempt=given["attempt"] + 1)
    most = given["episode_id"].isin(given["episode_id"].unique()[20:])
    rows["treatments"] = pd.concat([given, second[most]], ignore_index=True)
    names = [name for name in ANALYSED if name != "attempts"]
    names += ["examinations", "treatments", "followups"]
    estimates = estimate_strategies(YEARS, **{name: rows[name] for name in names}, config=plan)
    assert len(estimates) > 0
    assert estimates["stratum"].str.contains("strategy=epley").all()
