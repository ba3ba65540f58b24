"""Weights of a choice: what they must do whatever the data, and what they refuse."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.analyses.order.propensity import (
    count_effective,
    find_one_sided,
    leave_out_sites,
    measure_balance,
    weigh,
    weigh_choice,
)
from pipeline.statistics.guard import Refusal
from pipeline.statistics.logistic import fit_logistic

TERMS = ("mechanism", "onset", "age_decade", "site")
UNCUT = (0.0, 1.0)


def draw(seed: int = 1, n: int = 300, sites: int = 5) -> pd.DataFrame:
    """Rows of a choice that depends on all covariates."""
    rng = np.random.default_rng(seed)
    rows = pd.DataFrame(
        {
            "site": [f"S{k}" for k in rng.integers(0, sites, n)],
            "mechanism": rng.choice(["adherent", "free"], n),
            "onset": rng.choice(["short", "middle", "long"], n),
            "age_decade": rng.integers(3, 9, n),
        }
    )
    linear = (
        0.8 * rows["mechanism"].eq("adherent")
        - 0.5 * rows["onset"].eq("long")
        + 0.2 * (rows["age_decade"] - 6)
    )
    rows["choice"] = np.where(rng.random(n) < 1 / (1 + np.exp(-linear)), "change", "repeat")
    right = np.where(rng.random(n) < 0.7, rng.integers(3, 60, n), np.inf)
    return rows.assign(left_days=0.0, right_days=right)


def test_weights_of_every_pattern_balance_exactly():
    """With a probability of its own for each pattern, weighting is standardisation:
    nothing is left of any difference."""
    rows = draw()
    pattern = rows["mechanism"] + rows["onset"]
    changed = rows["choice"].eq("change").to_numpy()
    chances, _ = fit_logistic(pd.get_dummies(pattern).to_numpy(float), changed)
    weight = weigh(chances, changed, UNCUT).weight
    balance = measure_balance(rows, ("mechanism", "onset"), changed, weight)
    assert balance["before"].abs().max() > 0.1
    assert balance["after"].abs().max() < 1e-6
    assert list(balance.loc[["mechanism=free", "mechanism=adherent"], "members"]) == [
        (rows["mechanism"] == value).sum() for value in ("free", "adherent")
    ]
    assert weight.mean() == pytest.approx(1)


def test_the_mean_chance_is_the_share_that_changed():
    """So it is for logistic regression with an intercept (McCullagh P, Nelder JA. Generalized
    Linear Models. 1989, section 4.4)."""
    rows = draw(2)
    changed = rows["choice"].eq("change").to_numpy()
    design = np.column_stack(
        [np.ones(len(rows)), rows["age_decade"], rows["mechanism"].eq("free")]
    ).astype(float)
    chances, _ = fit_logistic(design, changed)
    assert chances.mean() == pytest.approx(changed.mean(), abs=1e-7)
    assert chances[changed].mean() > chances[~changed].mean()


@settings(max_examples=30)
@given(st.integers(0, 1000), st.floats(0, 0.2), st.floats(0.8, 1))
def test_the_cut_moves_weights_to_its_quantiles_and_says_how_many(seed, low, high):
    rng = np.random.default_rng(seed)
    chances = rng.uniform(0.05, 0.95, 80)
    changed = rng.random(80) < chances
    uncut, cut = weigh(chances, changed, UNCUT), weigh(chances, changed, (low, high))
    ends = np.quantile(uncut.weight, [low, high])
    assert (cut.weight.min(), cut.weight.max()) == pytest.approx(tuple(ends))
    assert cut.truncated_share == pytest.approx(np.mean(uncut.weight != cut.weight))
    assert (uncut.truncated_share, cut.greatest) == (0, uncut.weight.max())
    assert count_effective(cut.weight) >= count_effective(uncut.weight) - 1e-9


@given(st.integers(1, 50), st.floats(0.1, 10))
def test_equal_weights_count_as_many_as_they_are(n, weight):
    assert count_effective(np.full(n, weight)) == pytest.approx(n)
    assert count_effective(np.array([weight] * n + [0.0])) == pytest.approx(n)


def test_a_class_where_all_chose_alike_is_left_out_and_then_the_class_that_this_makes_one_sided(
    plan,
):
    """All of `a` repeat; without them nobody of `x` repeats either."""
    first, second = ["a"] * 20 + ["b"] * 60, ["x"] * 40 + ["y"] * 40
    changed = np.array([False] * 20 + [True] * 20 + [True, False] * 20)
    rows = pd.DataFrame({"first": first, "second": second})
    out = find_one_sided(rows, ("first", "second"), changed, plan.study.guards)
    assert list(out) == [True] * 40 + [False] * 40
    small = plan.study.guards.model_copy(update={"min_episodes": 21})
    assert not find_one_sided(rows, ("first", "second"), changed, small).any()


def test_each_sample_is_weighted_as_if_its_site_had_never_been(plan):
    rows = draw(3, n=600)
    contrast = weigh_choice(rows, TERMS, (0.01, 0.99), plan.study.guards)
    assert contrast.left_out == 0
    for k, site in enumerate(sorted(rows["site"].unique()), start=1):
        without = rows[rows["site"].ne(site)].reset_index(drop=True)
        alone = weigh_choice(without, TERMS, (0.01, 0.99), plan.study.guards)
        stays = rows["site"].ne(site).to_numpy()
        np.testing.assert_allclose(contrast.weights[k, stays], alone.described.weight, rtol=1e-5)
        assert not contrast.weights[k, ~stays].any()


def test_the_order_of_rows_changes_nothing(plan):
    rows = draw(4)
    order = np.random.default_rng(0).permutation(len(rows))
    straight, mixed = (
        weigh_choice(each.reset_index(drop=True), TERMS, (0.01, 0.99), plan.study.guards)
        for each in (rows, rows.iloc[order])
    )
    np.testing.assert_allclose(straight.weights[:, order], mixed.weights, rtol=1e-9)


def test_who_had_next_to_no_chance_is_left_out_and_counted(plan):
    """At one site nobody ever changes."""
    rows = draw(5, n=400)
    rows.loc[rows["site"].eq("S0"), "choice"] = "repeat"
    contrast = weigh_choice(rows, TERMS, UNCUT, plan.study.guards)
    assert contrast.left_out == rows["site"].eq("S0").sum()
    assert "S0" not in set(contrast.rows["site"])


@pytest.mark.parametrize(
    ("keep", "status"),
    [
        (lambda rows: rows["choice"].eq("repeat"), "too_few"),
        (
            lambda rows: rows["choice"].eq("repeat") | rows["choice"].eq("change").cumsum().le(10),
            "too_few",
        ),
        (lambda rows: rows["site"].isin(["S0", "S1"]), "not_identified"),
    ],
)
def test_refusals(plan, keep, status):
    rows = draw(6, n=600)
    refusal = weigh_choice(rows[keep(rows)].reset_index(drop=True), TERMS, UNCUT, plan.study.guards)
    assert isinstance(refusal, Refusal)
    assert refusal.status == status


@pytest.mark.parametrize("right", [1.0, np.inf])
def test_what_became_of_them_changes_no_weight(plan, right):
    """Neither all resolved nor nobody: weights look at what was known at the choice only."""
    rows = draw(6, n=400)
    contrast, other = (
        weigh_choice(each, TERMS, UNCUT, plan.study.guards)
        for each in (rows, rows.assign(right_days=right))
    )
    np.testing.assert_array_equal(contrast.weights, other.weights)


def test_a_choice_that_follows_from_the_covariates_is_refused(plan):
    rows = draw(7, n=600)
    rows["choice"] = np.where(
        rows["mechanism"].eq("free") & (rows["age_decade"] > 5), "change", "repeat"
    )
    assert isinstance(weigh_choice(rows, TERMS, UNCUT, plan.study.guards), Refusal)


def test_samples():
    assert leave_out_sites(pd.Series(["b", "a", "b"])).tolist() == [
        [True] * 3,
        [True, False, True],
        [False, True, False],
    ]
