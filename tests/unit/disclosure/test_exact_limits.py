"""What limits of shares tell of sizes, beside all pairs of numbers whose limits by statsmodels fit
the printed ones."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from pipeline.disclosure.exact_limits import narrow_by_limits

HALF, NEAR = 0.005, 1e-9


def print_share(whole: int, part: int, wider: float) -> tuple[float, float, float, float]:
    """What a share and its limits in whole percent leave open: the share from and to,
    and the limits from and to."""
    low, high = proportion_confint(part, whole, method="beta")
    share, low, high = (round(number, 2) for number in (part / whole, low - wider, high + wider))
    return share - HALF, share + HALF, low - HALF, high + HALF


def list_pairs(printed: tuple[float, ...], sizes: range) -> set[tuple[int, int]]:
    """All people and events whose share and exact limits lie within what is printed."""
    low, high, lower, upper = printed
    fitting = set()
    for n in sizes:
        k = np.arange(n + 1)
        least, most = proportion_confint(k, n, method="beta")
        fits = (k >= low * n - NEAR) & (k <= high * n + NEAR) & (least >= lower) & (most <= upper)
        fitting |= {(n, int(number)) for number in k[fits]}
    return fitting


@settings(max_examples=60)
@given(st.integers(20, 300), st.data(), st.integers(0, 12), st.sampled_from([0.0, 0.03]))
def test_sizes_are_those_that_all_pairs_leave(whole, data, room, wider):
    parts = [data.draw(st.integers(2, whole - 2)) for _ in range(2)]
    printed = [print_share(whole, part, wider) for part in parts]
    sizes = range(whole - min(room, whole - 1), whole + room + 1)
    least, most = np.array([sizes[0], 0.0, 0.0]), np.array([sizes[-1], np.inf, np.inf])
    narrow_by_limits(least, most, np.array([[1, 0, *printed[0]], [2, 0, *printed[1]]]))
    pairs = [list_pairs(each, sizes) for each in printed]
    alike = {n for n, _ in pairs[0]} & {n for n, _ in pairs[1]}  # one group has one size
    ends = [alike, *({k for n, k in each if n in alike} for each in pairs)]
    assert [*least] == [min(each) for each in ends]
    assert [*most] == [max(each) for each in ends]


def test_limits_tell_a_size_that_the_share_alone_does_not():
    # 68 of 214 are 32 %, limits 26 to 38 %; without the limits each size from 211 to 217 has two or
    # three numbers with that share
    printed = print_share(214, 68, 0)
    least, most = np.array([211.0, 0.0]), np.array([217.0, np.inf])
    narrow_by_limits(least, most, np.array([[1, 0, *printed[:2], 0.0, 1.0]]))
    assert (*least, *most) == (211, 0, 217, np.inf)  # such a share is for others to read
    narrow_by_limits(least, most, np.array([[1, 0, *printed]]))
    assert {(214, 68)} <= list_pairs(printed, range(211, 218))
    assert (least[1], most[1]) == (67, 69)


def test_a_group_of_any_size_is_left_as_it_is():
    least, most = np.array([0.0, 0.0]), np.array([np.inf, np.inf])
    narrow_by_limits(least, most, np.array([[1, 0, *print_share(214, 68, 0)]]))
    assert (*least, *most) == (0, 0, np.inf, np.inf)
