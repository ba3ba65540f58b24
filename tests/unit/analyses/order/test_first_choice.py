"""Which first maneuver cleared which variant: shares are counted, standardised and pooled, and what
cannot be told has a status."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.order.first_choice import POOLED, STANDARDISED, estimate_first_choice
from pipeline.analyses.order.first_pooled import pool_cells
from pipeline.analyses.order.first_standardised import standardise
from pipeline.statistics.guard import Refusal
from tests.unit.analyses.first_pool import make_pool

LATERAL = {"canal": "lateral", "arm": "long"}
ONSETS = {True: -60, False: -3}


def draw(seed: int, n: int = 900, sites: int = 8, better: float = 0.2) -> list[dict]:
    """Episodes of two variants: old ones clear less often and are given Semont more often; it
    clears `better` more of whoever is given it. Of the lateral canal all have Gufoni, but for a
    few."""
    rng = np.random.default_rng([5, seed])
    old, lateral = rng.random(n) < 0.5, rng.random(n) < 0.3
    semont = rng.random(n) < np.where(old, 0.7, 0.3)
    few = rng.random(n) < 0.02
    cleared = rng.random(n) < 0.6 - 0.3 * old + better * semont
    site = rng.integers(0, sites, n)
    return [
        {
            "site": f"S{k:02d}",
            "onset_day": ONSETS[bool(a)],
            "outcome": "negative" if c else "positive",
            "days": int(rng.integers(1, 20)),
        }
        | (
            LATERAL | {"family": "zuma" if f else "gufoni"}
            if lat
            else {"family": "semont" if s else "epley"}
        )
        for k, a, c, s, lat, f in zip(site, old, cleared, semont, lateral, few, strict=True)
    ]


@pytest.fixture(scope="module")
def estimates(plan):
    rows = estimate_first_choice(**make_pool(draw(1)), config=plan)
    return rows.set_index(["stratum", "term"])


def test_shares_are_counted(estimates):
    episodes = draw(1)
    cell = [e for e in episodes if e["family"] == "semont"]
    row = estimates.loc[("variant=posterior_long_arm,family=semont", "first_test_negative")]
    negative = sum(e["outcome"] == "negative" for e in cell)
    assert (row["n_episodes"], row["n_events"]) == (len(cell), negative)
    assert row["estimate"] == pytest.approx(negative / len(cell))
    assert row["lower"] < row["estimate"] < row["upper"]
    days = estimates.loc[("variant=posterior_long_arm,family=semont", "days_to_next_test")]
    assert days["estimate"] == np.median([e["days"] for e in cell])


def test_weights_give_each_family_the_same_patients(estimates):
    """Old episodes are given Semont more often and clear less often: as they are, shares hide how
    much better it is."""
    crude, standardised = (
        [
            estimates.loc[(f"variant=posterior_long_arm,family={family}", term), "estimate"]
            for family in ("epley", "semont")
        ]
        for term in ("first_test_negative", STANDARDISED)
    )
    # half of the patients are old: .45 of them clear after one, .65 after the other
    np.testing.assert_allclose(standardised, [0.45, 0.65], atol=0.07)
    assert crude[1] - crude[0] < standardised[1] - standardised[0] - 0.05


def test_few_episodes_have_a_status_and_no_number(estimates):
    row = estimates.loc[("variant=lateral_geotropic,family=zuma", "first_test_negative")]
    assert row["status"] == "too_few"
    assert ("variant=lateral_geotropic,family=zuma", POOLED) not in estimates.index
    needed = estimates.loc[("variant=lateral_geotropic,family=zuma", "further_episodes_needed")]
    assert needed["estimate"] >= 100
    # one family alone is standardised to nobody
    assert ("variant=lateral_geotropic,family=gufoni", STANDARDISED) not in estimates.index


def test_what_is_needed_does_not_tell_how_few_there_are(plan):
    needed = []
    for few in (1, 9):
        episodes = [
            *draw(2),
            *[LATERAL | {"family": "casani", "site": f"S{k:02d}"} for k in range(few)],
        ]
        rows = estimate_first_choice(**make_pool(episodes), config=plan)
        stratum = "variant=lateral_geotropic,family=casani"
        found = rows[rows["stratum"].eq(stratum) & rows["term"].eq("further_episodes_needed")]
        needed.append(found["estimate"].item())
    assert needed[0] == pytest.approx(needed[1], abs=10)


def test_wide_limits_need_more_and_narrow_ones_nothing(estimates):
    needed = estimates[estimates.index.get_level_values("term") == "further_episodes_needed"]
    for stratum in needed.index.get_level_values("stratum"):
        row = estimates.loc[(stratum, "first_test_negative")]
        assert row["status"] == "too_few" or row["upper"] - row["lower"] > 0.2
    assert (needed["estimate"] % 10 == 0).all()


def test_what_is_needed_comes_at_the_pace_at_which_the_cell_came(plan):
    rows = {}
    for years in (1, 5):
        tables = make_pool(draw(2, n=160))
        year = [2020 + k % years for k in range(len(tables["episodes"]))]
        tables["episodes"] = tables["episodes"].assign(
            index_year=pd.array(year, dtype=tables["episodes"]["index_year"].dtype)
        )
        rows[years] = estimate_first_choice(**tables, config=plan).set_index(["stratum", "term"])
    paces = rows[5].xs("years_at_this_pace", level="term")["estimate"]
    assert len(paces) > 0
    for stratum, pace in paces.items():
        needed = rows[5].loc[(stratum, "further_episodes_needed"), "estimate"]
        had = round(rows[5].loc[(stratum, "first_test_negative"), "n_episodes"] / 10) * 10
        assert pace == pytest.approx(5 * needed / had, abs=0.3 * pace + 2)
        assert rows[1].loc[(stratum, "years_at_this_pace"), "estimate"] <= pace
    few = rows[5]["status"].eq("too_few")
    assert not (few.index[few].get_level_values("stratum").isin(paces.index)).any()


def test_an_arm_named_by_the_response_has_a_status(plan):
    short = {"canal": "posterior", "arm": "short", "arm_basis": "treatment_response"}
    episodes = [*draw(3), *[short | {"site": f"S{k % 5:02d}"} for k in range(60)]]
    rows = estimate_first_choice(**make_pool(episodes), config=plan)
    own = rows[rows["stratum"].str.startswith("variant=short_arm_by_treatment_response")]
    compared = own[own["method"].ne("count")]
    assert list(compared["status"]) == ["not_identified"]
    assert compared["note"].str.contains("circular").all()
    without = estimate_first_choice(**make_pool(draw(3)), config=plan)
    others = rows[~rows["stratum"].str.startswith("variant=short_arm_by_treatment_response")]
    gone = without[~without["stratum"].str.startswith("variant=short_arm_by_treatment_response")]
    pd.testing.assert_frame_equal(
        others.reset_index(drop=True), gone.reset_index(drop=True), check_exact=True
    )


def test_merely_suspected_short_arms_stand_with_the_others_and_apart(plan):
    short = {"canal": "posterior", "arm": "short_or_cupula", "arm_basis": "sitting_up"}
    sites = [f"S{k % 6:02d}" for k in range(40)]
    seen = [short | {"site": site, "certainty": "emerging"} for site in sites]
    suspected = [
        short | {"site": site, "certainty": "suspected", "outcome": "positive"} for site in sites
    ]
    rows = estimate_first_choice(**make_pool([*draw(4), *seen, *suspected]), config=plan)
    rows = rows.set_index(["stratum", "term"])
    narrow = rows.loc["variant=short_arm_by_nystagmus_on_sitting_up,family=epley"]
    wide = rows.loc["variant=short_arm_by_sitting_up,family=epley"]
    crude = "first_test_negative"
    assert (narrow.loc[crude, "n_episodes"], wide.loc[crude, "n_episodes"]) == (40, 80)
    assert narrow.loc[crude, "estimate"] == 1
    assert wide.loc[crude, "estimate"] == 0.5
    assert narrow.loc[POOLED, "estimate"] > wide.loc[POOLED, "estimate"] + 0.2


def test_pooled_shares_lie_between_a_cell_and_the_others(plan):
    rows = estimate_first_choice(**make_pool(draw(6, n=250)), config=plan)
    rows = rows.set_index(["stratum", "term"])
    pooled = rows[rows.index.get_level_values("term") == POOLED].dropna(subset="estimate")
    assert len(pooled) >= 2
    own = rows.xs("learned_from_own_records", level="term")["estimate"].astype(float)
    assert own.between(0, 1, inclusive="neither").all()


def test_a_pool_of_two_sites_is_not_pooled(plan):
    tested = pd.DataFrame(
        {
            "variant": ["a", "b"] * 20,
            "family": ["x", "x", "y", "y"] * 10,
            "site": ["S01", "S02"] * 20,
            "negative": [True, False, True] * 13 + [True],
        }
    )
    found = pool_cells(tested, plan.study.guards)
    assert isinstance(found, Refusal)
    assert found.status == "not_identified"
    assert isinstance(pool_cells(tested.iloc[:0], plan.study.guards), Refusal)


def test_a_family_that_one_site_alone_gives_is_not_standardised(plan):
    rng = np.random.default_rng(3)
    rows = pd.DataFrame(
        {
            "site": np.repeat(["S01", "S02", "S03", "S04"], 30),
            "family": np.repeat(["semont", "epley", "epley", "epley"], 30),
            "negative": rng.random(120) < 0.6,
            "onset": "0-7 days",
            "age_decade": 6,
            "sex": "female",
            "prior": "none",
            "cause": "idiopathic",
            "setting": "clinic",
        }
    )
    found = standardise(rows, "semont", plan.study.first_choice, plan.study.guards)
    assert isinstance(found, Refusal)
    assert found.status == "too_few"


def test_the_order_of_rows_changes_nothing(plan):
    tables = make_pool(draw(7, n=300))
    turned = {name: table.iloc[::-1].reset_index(drop=True) for name, table in tables.items()}
    one, other = (estimate_first_choice(**each, config=plan) for each in (tables, turned))
    pd.testing.assert_frame_equal(one, other, check_exact=True)
