"""What became of vertigo after each first maneuver: planted courses come back, weights undo what
drove the choice, and what cannot be told has a status."""

from functools import cache

import numpy as np
import pandas as pd

from pipeline.analyses.order.first_courses import estimate_first_courses, list_told
from pipeline.analyses.resolution.fitted import FORM_ALONE
from pipeline.derivation.tables import derive_rows
from tests.recovery.first_courses import find_course_truths
from tests.recovery.pools import draw_pool
from tests.recovery.strategies import read_strategies_plan
from tests.unit.analyses.resolution.tested_episodes import gather
from tests.unit.conftest import build_table

NAMES = ("episodes", "examinations", "findings", "treatments", "followups")
DERIVED = ("adjudications", "attempts", "spells")
EPLEY, SEMONT = (f"variant=posterior_long_arm,family={family}" for family in ("epley", "semont"))


@cache
def answer(scenario: str, seed: int) -> pd.DataFrame:
    """One simulated pool, by stratum and term."""
    config = read_strategies_plan()
    delivered, _ = draw_pool(scenario, seed)
    tables = delivered | derive_rows(delivered, config, [config.study.resolution.primary])
    given = {name: tables[name] for name in (*NAMES, *DERIVED)}
    return estimate_first_courses(**given, config=config).set_index(["stratum", "term"])


def know_truth(found: pd.DataFrame) -> pd.Series:
    """The truth of each row of a pool whose first choice went by what slows."""
    truths = find_course_truths("chosen_first", read_strategies_plan().study.first_choice)
    return pd.Series([truths.get(" ".join(key), np.nan) for key in found.index], found.index)


def test_days_with_vertigo_are_those_before_resolution(plan):
    told = {each.term: each for each in list_told(plan.study.first_choice)}
    mean, days = told["mean_days_with_vertigo"], np.arange(1, 80)
    for day in days:
        resolved = np.arange(1, mean.sums.size + 1) >= day
        assert mean.horizon - mean.sums @ resolved == min(day, mean.horizon)
    assert told["resolved_by_day_7"].last_day == 7
    assert mean.last_day == 3  # the first days count in full


def test_planted_courses_come_back():
    found = answer("chosen_first", 3)
    found = found.assign(truth=know_truth(found)).dropna(subset=["truth", "lower"])
    assert len(found) >= 24
    inside = found["lower"].le(found["truth"]) & found["truth"].le(found["upper"])
    assert inside.mean() > 0.75  # numbers of one pool go together


def test_weights_undo_a_choice_that_went_by_what_slows():
    """Slow patients, and slow sites, are given Semont: on the average of three pools the plain
    difference is too great, and the standardised one nearer to the truth."""
    off = {"": [], "standardised_": []}
    for seed in (1, 2, 3):
        found = answer("chosen_first", seed)
        truth = know_truth(found).xs("standardised_mean_days_with_vertigo", level="term")
        for prefix, errors in off.items():
            term = f"{prefix}mean_days_with_vertigo"
            days = [found.loc[(s, term), "estimate"] for s in (SEMONT, EPLEY)]
            errors.append(days[0] - days[1] - (truth[SEMONT] - truth[EPLEY]))
    assert np.mean(off[""]) > 0.5
    assert abs(np.mean(off["standardised_"])) < 0.6 * np.mean(off[""])


def test_where_nobody_is_tested_early_the_form_alone_would_tell_the_first_days():
    found = answer("treated_at_test", 1)
    first = found.loc[(EPLEY, "resolved_by_day_1")]
    assert first["status"] == "not_identified"
    assert first["note"] != FORM_ALONE.note  # nobody was heard of either
    assert found.loc[(EPLEY, "resolved_by_day_7"), "status"] == "ok"
    assert found.loc[(EPLEY, "mean_days_with_vertigo"), "status"] == "not_identified"


def estimate(plan, rows: dict) -> pd.DataFrame:
    given = {name: rows[name] for name in (*NAMES[1:], *DERIVED)}
    people = rows["adjudications"][["site", "episode_id"]]
    keys = people.assign(patient_id=people["episode_id"]).to_dict("records")
    return estimate_first_courses(build_table("episodes", keys), **given, config=plan)


def test_few_episodes_or_sites_have_a_status_and_no_number(plan):
    courses = [{7: False}] * 30 + [{7: True, 14: False}] * 30
    few_sites = estimate(plan, gather(plan, courses, sites=2))
    assert few_sites["status"].eq("not_identified").all()
    few = estimate(plan, gather(plan, courses[25:35], sites=5))
    assert few["status"].eq("too_few").all()
    enough = estimate(plan, gather(plan, courses, sites=5)).set_index("term")
    assert enough.loc["mean_days_with_vertigo", "status"] == "ok"
    assert not enough.index.str.startswith("standardised_").any()  # one family only


def test_a_session_of_several_families_is_in_no_cell(plan):
    rows = gather(plan, [{7: False}] * 60, sites=5)
    given = rows["treatments"]
    second = given.assign(maneuver="semont", attempt=given["attempt"] + 1)
    both = given["episode_id"].isin(given["episode_id"].unique()[20:])
    rows["treatments"] = pd.concat([given, second[both]], ignore_index=True)
    found = estimate(plan, rows)
    assert set(found["stratum"]) == {EPLEY}
    assert found["n_episodes"].eq(20).all()
