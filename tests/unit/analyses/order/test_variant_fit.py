"""The model with rates by variant: sessions by the first one, variants of the plan, and no fit."""

import pandas as pd

from pipeline.analyses.order.variant_fit import (
    fit_variants,
    lay_out_variants,
    name_variants,
    relate_to_first,
)
from pipeline.analyses.resolution.courses import ANOTHER, BETWEEN, FIRST, SAME, Days
from pipeline.statistics.guard import Refusal
from tests.unit.analyses.resolution.tested_episodes import gather

TABLES = ("examinations", "findings", "treatments", "followups", "adjudications", "spells")


def test_sessions_are_told_apart_by_the_first_one():
    given_sessions = pd.DataFrame(
        {
            "row": [0, 0, 0, 1, 1],
            "day": [0, 7, 14, 0, 7],
            "family": ["a", "b", "b", "a", "a"],
            "kind": [FIRST, ANOTHER, SAME, FIRST, SAME],
        }
    )
    nothing = pd.DataFrame().to_numpy()
    days = Days(nothing, nothing, nothing, nothing, given_sessions, 1)
    kinds = relate_to_first(days).sessions["kind"]
    assert list(kinds) == [FIRST, ANOTHER, ANOTHER, FIRST, SAME]


def test_an_episode_is_of_one_variant_of_the_plan_or_of_none(plan):
    long_arm = {"canal": "posterior", "arm": "long", "arm_basis": None, "mechanism": "x"}
    nothing = dict.fromkeys(long_arm, "unknown")
    members = pd.DataFrame([long_arm, nothing])
    named = name_variants(members, plan.study)
    assert named[0] == "posterior_long_arm"
    assert pd.isna(named[1])


def test_rates_are_by_variant_and_few_sites_have_none(plan):
    def fit(sites: int):
        rows = gather(plan, [{7: False}] * 30 + [{7: True, 14: False}] * 30, sites=sites)
        laid = lay_out_variants(**{name: rows[name] for name in TABLES}, config=plan)
        return laid, fit_variants(laid, plan.study)

    laid, fitted = fit(5)
    assert laid.variants.eq("posterior_long_arm").all()
    assert fitted.classes.variants == (f"posterior{BETWEEN}posterior_long_arm",)
    assert isinstance(fit(2)[1], Refusal)
