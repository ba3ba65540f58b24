"""The pool beside trials: the same canal, maneuver, endpoint and day, exact intervals as published,
and nothing where the pool has too few."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import yaml
from pydantic import ValidationError

from pipeline.analyses.resolution.curves import ONE_SITE
from pipeline.analyses.resolution.published_comparison import compare_published
from schemas.published import PROVENANCE, Published
from tests.simulated_sites import FASTER, RATE, SHAPE, simulate_sites

FILE = Path(__file__).parents[4] / "config" / "published.yaml"
TRIAL = {
    "citation": "A",
    "canal": "posterior",
    "day": 7,
    "endpoint": "objective",
    "measured": "m",
    "provenance": "read",
}


def build(**trials: dict) -> Published:
    arms = [
        {"family": "epley", "events": 81, "total": 263},
        {"family": "sham", "events": 15, "total": 148},
    ]
    return Published.model_validate(
        {"trials": {name: TRIAL | {"arms": arms} | trial for name, trial in trials.items()}}
    )


@pytest.fixture(scope="module")
def tables():
    return simulate_sites([150] * 6, seed=1)


def compare(tables, plan, published: Published) -> pd.DataFrame:
    config = SimpleNamespace(study=plan.study, published=published)
    return compare_published(tables.spells, tables.adjudications, tables.attempts, config)


def row_of(
    estimates: pd.DataFrame, population: str, stratum: str = "trial=t,first_maneuver=epley"
) -> pd.Series:
    (row,) = (
        row
        for _, row in estimates.iterrows()
        if (row["population"], row["stratum"]) == (population, stratum)
    )
    return row


def test_exact_limits_of_a_trial_as_published(tables, plan):
    # Newcombe RG. Stat Med 1998;17:857-872, table I, exact method (from memory): 81 of 263 and 15
    # of 148
    estimates = compare(tables, plan, build(t={}))
    treated, sham = (
        row_of(estimates, "published", f"trial=t,first_maneuver={family}")
        for family in ("epley", "sham")
    )
    assert [round(treated[c], 4) for c in ("lower", "upper")] == [0.2527, 0.3676]
    assert [round(sham[c], 4) for c in ("lower", "upper")] == [0.0578, 0.1617]
    assert (treated["estimate"], treated["n_episodes"], treated["n_events"]) == (81 / 263, 263, 81)
    assert PROVENANCE["read"] in treated["note"]


def test_planted_share_stands_beside_it(tables, plan):
    estimates = compare(
        tables,
        plan,
        build(
            t={}, u={"canal": "lateral", "arms": [{"family": "gufoni", "events": 1, "total": 2}]}
        ),
    )
    for stratum, faster in (
        ("trial=t,first_maneuver=epley", 0),
        ("trial=u,first_maneuver=gufoni", FASTER),
    ):
        row = row_of(estimates, "positional", stratum)
        planted = 1 - np.exp(-RATE * np.exp(faster) * 7**SHAPE)
        assert abs(row["estimate"] - planted) < 3 * row["std_error"] < 0.25
        assert (row["term"], row["status"], row["n_sites"]) == ("resolved_by_day_7", "ok", 6)
        assert row["note"].startswith("different populations")
    assert estimates["p_value"].isna().all()


def test_only_the_same_canal_arm_maneuver_and_endpoint_match(tables, plan):
    other = {
        "canal": build(t={"canal": "lateral"}),
        "arm": build(t={"canal_arms": ["short", "cupula"]}),
        "endpoint": build(t={"endpoint": "strict"}),
    }
    for published in other.values():
        row = row_of(compare(tables, plan, published), "positional")
        assert (row["status"], row["n_episodes"]) == ("too_few", 0)
    sham = row_of(compare(tables, plan, build(t={})), "positional", "trial=t,first_maneuver=sham")
    assert (sham["status"], sham["n_episodes"]) == ("too_few", 0)
    assert pd.isna(sham["estimate"])


def test_a_day_after_the_horizon_has_no_share(tables, plan):
    row = row_of(compare(tables, plan, build(t={"day": 365})), "positional")
    assert row["status"] == "not_identified"
    assert "after day 60" in row["note"]


def test_trials_of_the_same_have_the_same_row_of_the_pool(tables, plan):
    estimates = compare(tables, plan, build(a={}, b={"citation": "B"}))
    first, second = (
        row_of(estimates, "positional", f"trial={name},first_maneuver=epley") for name in "ab"
    )
    pd.testing.assert_series_equal(first.drop("stratum"), second.drop("stratum"), check_names=False)


def test_order_of_rows_changes_nothing(tables, plan):
    once = compare(tables, plan, build(t={}))
    names = ("spells", "adjudications", "attempts")
    mixed = SimpleNamespace(
        **{
            name: getattr(tables, name).sample(frac=1, random_state=k)
            for k, name in enumerate(names)
        }
    )
    pd.testing.assert_frame_equal(once, compare(mixed, plan, build(t={})))


def test_delivered_file_is_sound_and_names_known_maneuvers(plan):
    published = Published.model_validate(yaml.safe_load(FILE.read_text("utf-8")))
    families = {maneuver.family for maneuver in plan.maneuvers.values()}
    assert {arm.family for trial in published.trials.values() for arm in trial.arms} <= families
    for name, pool in published.pools.items():
        assert len({published.trials[trial].endpoint for trial in pool.trials}) == 1, name


def test_published_pools_are_told_with_what_was_printed(tables, plan):
    published = Published.model_validate(yaml.safe_load(FILE.read_text("utf-8")))
    estimates = compare(tables, plan, published)
    row = row_of(estimates, "published", "pool=hilton_pinder_2002_test,first_maneuver=epley")
    assert [round(row[c], 2) for c in ("estimate", "lower", "upper")] == [5.67, 2.21, 14.56]
    assert (row["comparison"], row["n_episodes"]) == ("first_maneuver=sham", 83)
    assert "printed as 5.67 (2.21 to 14.56)" in row["note"]


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"arms": [{"family": "epley", "events": 5, "total": 4}]}, "above total"),
        ({"arms": [{"family": "epley", "events": 1, "total": 4}] * 2}, "same family"),
        ({"day": 0}, "greater than or equal to 1"),
        ({"provenance": "heard"}, "read"),
        ({"canals": "posterior"}, "Extra inputs"),
    ],
)
def test_what_is_no_trial_is_named(wrong, message):
    with pytest.raises(ValidationError, match=message):
        build(t=wrong)


def test_a_pool_names_trials_with_both_arms():
    trial = TRIAL | {"arms": [{"family": "epley", "events": 1, "total": 4}]}
    pool = {
        "citation": "A",
        "trials": ["t", "u"],
        "treatment": "epley",
        "comparator": "sham",
        "provenance": "read",
    }
    pool |= {"odds_ratio": 1, "lower": 0.5, "upper": 2}
    with pytest.raises(ValidationError, match="t is no trial with both arms"):
        Published.model_validate({"trials": {"t": trial}, "pools": {"p": pool}})


def test_one_site_is_told_and_its_limits_are_named_for_what_they_are(plan):
    row = row_of(compare(simulate_sites([300], seed=1), plan, build(t={})), "positional")
    assert (row["status"], row["n_sites"]) == ("ok", 1)
    assert ONE_SITE in row["note"]
    assert "delete-one-patient" in row["method"]
