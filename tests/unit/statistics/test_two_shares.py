"""The difference of two shares with limits."""

import pytest
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from pipeline.statistics.two_shares import Bounded, mover_difference


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
    difference = mover_difference(second, first)
    assert (difference.low, difference.high) == pytest.approx((low, high), abs=1e-9)
    if events == (56, 48):
        # his table II, from memory
        assert (difference.low, difference.high) == pytest.approx((0.0524, 0.3339), abs=5e-5)
