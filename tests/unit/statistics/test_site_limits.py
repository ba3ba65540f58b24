"""Limits of shares: exact where sites do not differ, wide enough where they do."""

import numpy as np
import pytest
from scipy.stats import beta, norm
from scipy.stats import t as student

from pipeline.statistics.site_limits import bound_share


def test_exact_where_sites_do_not_differ_or_are_too_few(plan):
    guards = plan.study.guards
    exact = (beta.ppf(0.025, 12, 29), beta.ppf(0.975, 13, 28))
    happened = np.arange(40) % 10 < 3
    alike, two = np.repeat(list("abcd"), 10), np.where(happened, "a", "b")
    assert bound_share(happened, alike, guards) == pytest.approx(bound_share(happened, two, guards))
    assert bound_share(happened, alike, guards) == pytest.approx((exact[0], exact[1]))
    for all_or_none in (np.zeros(40), np.ones(40)):
        low, high = bound_share(all_or_none, alike, guards)
        # four sites, of whose differences nothing is known
        fewer = 40 * (norm.ppf(0.975) / student.ppf(0.975, 3)) ** 2
        assert high - low == pytest.approx(1 - 0.025 ** (1 / fewer))
        low, high = bound_share(all_or_none, two, guards)
        assert high - low == pytest.approx(1 - 0.025 ** (1 / 40))


def test_a_share_that_one_site_brings_is_not_sure(plan):
    happened, site = np.arange(200) < 40, np.repeat([f"S{n}" for n in range(5)], 40)
    low, high = bound_share(happened, site, plan.study.guards)
    assert low < 0.02
    assert high > 0.7
    order = np.random.default_rng(1).permutation(200)
    assert bound_share(happened[order], site[order], plan.study.guards) == (low, high)


@pytest.mark.parametrize("correlation", [0.0, 0.05])
def test_limits_hold_where_sites_differ(plan, correlation):
    rng, truth, site, covered = (
        np.random.default_rng(3),
        0.3,
        np.repeat(np.arange(10).astype(str), 40),
        0,
    )
    for _ in range(200):
        shape = 1 / correlation - 1 if correlation else 0
        chance = (
            rng.beta(truth * shape, (1 - truth) * shape, 10) if correlation else np.full(10, truth)
        )
        low, high = bound_share(rng.random(400) < np.repeat(chance, 40), site, plan.study.guards)
        covered += low <= truth <= high
    assert covered / 200 > 0.9  # exact limits: .76 with a correlation of .05
