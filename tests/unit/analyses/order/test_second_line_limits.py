"""Limits of the second line where nearly all of an arm are resolved, or nobody:
a number stands there, and its limits hold."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from pipeline.analyses.order.arms import Arm, fit_arm, measure_arms
from pipeline.analyses.order.propensity import leave_out_sites
from pipeline.analyses.order.second_line import estimate_second_line
from pipeline.statistics.scales import DIFFERENCE, check_range, limit_by_sites
from pipeline.statistics.two_shares import Bounded, combine, compare
from schemas.derived import Spells
from tests.unit.analyses.order.test_second_line import draw, read

DAYS, HORIZON = (7,), 10


def see(resolved: np.ndarray, site: np.ndarray, weight: np.ndarray | None = None) -> Arm:
    """An arm of which everybody is tested on day 6 and on day 10: resolved at the first test,
    or not at all."""
    left, right = np.where(resolved, 0.0, 10.0), np.where(resolved, 6.0, np.inf)
    stays = leave_out_sites(pd.Series(site)).astype(float)
    return fit_arm(left, right, stays if weight is None else stays * weight, HORIZON)


def measure(repeat: Arm, change: Arm) -> dict[str, tuple]:
    """By term the number, then its standard error, limits and p-value;
    none where there is a reason for that."""
    return {
        each.term: (float(each.values[0]), *each.limit(5))
        for each in measure_arms(repeat, change, DAYS, HORIZON)
        if each.check() is None
    }


@pytest.mark.parametrize(
    ("events", "of"),
    [((56, 48), (70, 80)), ((9, 3), (10, 10)), ((10, 0), (10, 20)), ((5, 0), (56, 29))],
)
def test_the_limits_of_a_difference_are_those_of_newcombe(events, of):
    """Pairs of Newcombe RG.

    Stat Med 1998;17:873-890 (from memory), of whom statsmodels has the same method, with Wilson's
    limits of each.
    """
    first, second = (
        Bounded(k / n, *proportion_confint(k, n, method="wilson"))
        for k, n in zip(events, of, strict=True)
    )
    low, high = confint_proportions_2indep(
        *(x for pair in zip(events, of, strict=True) for x in pair), method="newcomb"
    )
    found = combine(second, first)
    assert (found.low, found.high) == pytest.approx((low, high), abs=1e-9)
    if events == (56, 48):
        # his table II, from memory
        assert (found.low, found.high) == pytest.approx((0.0524, 0.3339), abs=5e-5)


@given(st.lists(st.floats(0, 1), min_size=6, max_size=6))
def test_limits_of_a_difference_stay_within_its_scale_and_agree_with_their_p_value(drawn):
    first, second = (Bounded(*np.array(sorted(part))[[1, 0, 2]]) for part in (drawn[:3], drawn[3:]))
    found = combine(first, second)
    assert -1 - 1e-12 <= found.low <= found.value <= found.high <= 1 + 1e-12
    *_, low, high, p = compare(np.full(5, found.value), DIFFERENCE, first, second)
    away = min(abs(low), abs(high)) > 1e-9  # where a limit lies at 0, rounding decides
    assert not away or (p < 0.05) == (not low <= 0 <= high)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 12), st.integers(0, 12), st.integers(0, 10_000))
def test_whatever_the_outcome_each_number_has_limits_on_its_scale(repeat, change, seed):
    rng, site = np.random.default_rng(seed), np.repeat(list("abcd"), 3)
    arms = [see(rng.permutation(12) < n, site, rng.uniform(0.5, 2, 12)) for n in (repeat, change)]
    found = measure(*arms)
    ratio = {"risk_ratio_day_7"} if min(repeat, change) > 0 else set()
    assert set(found) - ratio == {
        *(f"risk_{kind}_day_7" for kind in ("repeat", "change", "difference")),
        *(f"mean_days_{kind}" for kind in ("repeat", "change", "difference")),
    }
    ends = {
        "difference_day_7": (-1, 1),
        "days_difference": (-HORIZON, HORIZON),
        "ratio_day_7": (0, np.inf),
    }
    for term, (value, _, low, high, _) in found.items():
        least, greatest = next(
            (e for end, e in ends.items() if term.endswith(end)),
            (0, HORIZON if "days" in term else 1),
        )
        assert least - 1e-9 <= low <= value + 1e-9
        assert value - 1e-9 <= high <= greatest + 1e-9
        assert low < high


def test_limits_of_an_arm_that_is_all_resolved_tell_something_when_it_is_large(plan):
    site = np.repeat(list("abcdefgh"), 8)
    all_of_them, nobody = see(np.ones(64, bool), site), see(np.zeros(64, bool), site)
    found = measure(nobody, all_of_them)
    for term in ("risk_repeat_day_7", "risk_change_day_7"):
        assert found[term][3] - found[term][2] < 0.1
    value, error, low, high, p = found["risk_difference_day_7"]
    assert (value, error) == (pytest.approx(1), pytest.approx(0))
    assert 0.85 < low < high <= 1
    assert p < 0.001
    assert check_range(low, high, DIFFERENCE, plan.study.guards) is None
    small = np.repeat(list("abcd"), 3)
    value, _, low, high, p = measure(see(np.ones(12, bool), small), see(np.ones(12, bool), small))[
        "risk_difference_day_7"
    ]
    assert value == pytest.approx(0)
    assert low < -0.2
    assert high > 0.2
    assert p == 1


def play(rng: np.random.Generator, n: int, shares: tuple[float, float], alike: float) -> list[Arm]:
    """Two arms of about `n` at four sites, whose shares are drawn with an intraclass correlation of
    1 / (1 + alike)."""
    arms = []
    for share in shares:
        site = np.concatenate([np.arange(4), rng.integers(0, 4, n - 4)])
        own = rng.beta(share * alike, (1 - share) * alike, 4)
        arms.append(see(rng.random(n) < own[site], site))
    return arms


@pytest.mark.parametrize("n", [12, 24, 40])
def test_limits_hold_at_high_shares_of_few_people(n):
    """Too few of the pools, by chance once in 500, would be a fault; too many are not:
    exact limits hold more often than they say."""
    pools, shares, held = (
        80,
        (0.95, 0.85),
        dict.fromkeys(("risk_repeat_day_7", "risk_change_day_7", "risk_difference_day_7"), 0),
    )
    truth = dict(zip(held, (*shares, shares[1] - shares[0]), strict=True))
    for pool in range(pools):
        found = measure(*play(np.random.default_rng([31, n, pool]), n, shares, 49))
        for term in held:
            held[term] += found[term][2] <= truth[term] <= found[term][3]
    assert min(held.values()) >= binom.ppf(0.002, pools, 0.95)


def test_enough_of_both_kinds_are_compared_by_leaving_out_each_site():
    site, rng = np.repeat(list("abcdef"), 10), np.random.default_rng(4)
    arms = [see(rng.random(60) < share, site) for share in (0.6, 0.5)]
    told = {each.term: each for each in measure_arms(*arms, DAYS, HORIZON)}["risk_difference_day_7"]
    assert min(number for arm in arms for number in arm.count(7)) >= 5
    assert told.limit(5) == limit_by_sites(told.values[0], told.values[1:], DIFFERENCE)
    low, high = told.limit(61)[1:3]
    assert (low, high) == pytest.approx(compare(told.values, DIFFERENCE, *told.bounds)[1:3])


@pytest.mark.parametrize("resolved", [True, False])
def test_nobody_is_told_that_there_are_few_events_where_all_are_resolved_or_nobody(
    any_width, resolved
):
    tables = draw(105, effect=0.0, n=200, sites=5)
    spells = tables["spells"]
    ends = (
        {"left_days": 8.0, "right_days": 9.0}
        if resolved
        else {"left_days": 60.0, "right_days": np.inf}
    )
    told = spells.assign(**ends, status="resolved" if resolved else "unresolved")
    rows = read(estimate_second_line(**tables | {"spells": Spells.cast(told)}, config=any_width))
    shares = rows.loc[["risk_repeat_day_30", "risk_change_day_30"]]
    assert list(shares["estimate"]) == pytest.approx([float(resolved)] * 2)
    assert (shares["upper"] - shares["lower"]).between(0.01, 0.3).all()
    difference = rows.loc["risk_difference_day_30"]
    assert difference["estimate"] == pytest.approx(0)
    assert difference["lower"] < 0 < difference["upper"]
    assert (rows.loc["risk_ratio_day_30", "status"] == "ok") is resolved
