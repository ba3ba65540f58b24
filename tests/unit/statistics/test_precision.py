"""So many further records as are said make an interval about as narrow as was wanted, if they come
from further sites that differ as much; more records of the same sites do not."""

import numpy as np
import pytest
from scipy.special import expit, logit

from pipeline.statistics.precision import count_further
from pipeline.statistics.site_limits import bound_share

WANTED, POOLS, SHARE = 0.2, 60, 0.6


def find_width(guards, draws: np.random.Generator, sites: int, each: int, sd: float) -> float:
    """The median width of the interval of a share, over simulated pools."""
    widths = []
    for _ in range(POOLS):
        level = expit(logit(SHARE) + sd * draws.standard_normal(sites))
        site = np.repeat(np.arange(sites), each)
        low, high = bound_share(draws.random(len(site)) < level[site], site, guards)
        widths.append(high - low)
    return float(np.median(widths))


@pytest.mark.parametrize("sd", [0.0, 0.5], ids=["sites alike", "sites differ"])
def test_further_sites_make_it_as_narrow_as_wanted(plan, sd):
    draws, sites, each = np.random.default_rng(3), 8, 6
    width = find_width(plan.study.guards, draws, sites, each, sd)
    more = count_further(sites * each, width, WANTED)
    grown = find_width(plan.study.guards, draws, round((sites * each + more) / each), each, sd)
    assert width > WANTED
    # a step too wide at most, and few sites have a wider quantile of t; a median is known to 3 %
    assert 0.75 * WANTED < grown < 1.08 * WANTED


def test_more_records_of_few_sites_that_differ_do_not(plan):
    draws, sites, each = np.random.default_rng(4), 6, 10
    width = find_width(plan.study.guards, draws, sites, each, 0.8)
    more = count_further(sites * each, width, WANTED)
    grown = find_width(plan.study.guards, draws, sites, round((sites * each + more) / sites), 0.8)
    assert grown > 1.3 * WANTED


def test_a_narrow_interval_needs_none():
    assert count_further(100, 0.2, 0.2) == 0
    assert count_further(100, 0.1, 0.2) == 0
