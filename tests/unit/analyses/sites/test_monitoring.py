"""Sites are not called different because of the days on which they test:
what would say so is withdrawn."""

import pytest

from pipeline.analyses.sites.monitoring import TEST_DAYS, estimate_site_monitoring
from pipeline.analyses.sites.pooling import estimate_site_pooling
from pipeline.statistics.npmle import fit_npmle
from tests.simulated_sites import simulate_sites, simulate_test_days

FIRST_TESTS = [1, 3, 7, 14, 28] * 2


def test_large_enough_sites_are_counted_and_none_is_compared(plan):
    least = plan.study.site_monitoring.min_episodes
    tables = simulate_sites([100, 100, 100, least - 1], seed=7)
    estimates = estimate_site_monitoring(tables.spells, tables.adjudications, plan)
    assert estimates["stratum"].eq("all").all()
    numbers = estimates.set_index("term")
    assert numbers["estimate"].dropna().to_dict() == {
        "sites_large_enough": 3,
        "sites_below_minimum": 1,
    }
    withdrawn = numbers.loc[
        [f"overdispersion_day_{day}" for day in plan.study.site_monitoring.days]
    ]
    assert withdrawn["note"].eq(TEST_DAYS.note).all()


def test_nothing_says_how_far_sites_differ(plan):
    tables = simulate_test_days(FIRST_TESTS, 80, seed=1)
    estimates = estimate_site_pooling(
        tables.episodes, tables.spells, tables.adjudications, tables.attempts, plan
    )
    assert estimates["stratum"].eq("all").all()
    assert estimates["p_value"].isna().all()
    apart = estimates[estimates["term"].str.endswith(("_further_site", "_tau2", "_i2"))]
    assert len(apart) == (2 * 2 + 1) * 3
    assert apart["note"].eq(TEST_DAYS.note).all()


@pytest.mark.parametrize("day", [7, 30])
def test_equal_sites_that_test_on_other_days_do_look_different(day):
    """Why it is withdrawn: were it sampling alone, large equal sites would have equal curves."""
    shares = []
    for first in (1, 28):
        spells = simulate_test_days([first], 4000, seed=3).spells
        known = spells[spells["status"].ne("not_tested_again")]
        shares.append(1 - fit_npmle(known["left_days"], known["right_days"]).survival([day])[1][0])
    assert shares[0] - shares[1] > 0.1
