"""Strips under a curve: as long as their parts, and nothing of what is hidden."""

import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.reports.figures.curves import draw_curve
from tests.unit.reports.figures.drawn import (
    RISING,
    UNTIL,
    draw,
    find_points,
    find_texts,
    make_curve,
    make_strip,
)


def test_strips_are_as_long_as_their_parts_and_side_by_side():
    bars = find_points(draw(make_curve(RISING, known=(make_strip(7, 60, 30, 0, 10),))), "bar")
    lengths = [np.ptp(bar[:, 0]) for bar in bars]
    # nobody: no bar
    assert np.array(lengths) / sum(lengths) == pytest.approx([0.6, 0.3, 0.1], abs=2e-3)
    assert [bar[:, 0].min() for bar in bars[1:]] == pytest.approx(
        [bar[:, 0].max() for bar in bars[:-1]], abs=1e-3
    )


def test_a_hidden_part_takes_no_place_in_a_strip():
    """Two pools that differ only in how the hidden rest is split look the same."""
    strips = [make_strip(7, 60, None, 20, None, total=100) for _ in range(2)]
    drawn = [ET.tostring(draw(make_curve(RISING, known=(strip,)))) for strip in strips]
    assert drawn[0] == drawn[1]
    (first, second), total = find_points(ET.fromstring(drawn[0]), "bar"), make_strip(7, 60, 40)
    (all_of_them, remaining) = find_points(draw(make_curve(RISING, known=(total,))), "bar")
    assert second[:, 0].min() == pytest.approx(first[:, 0].max(), abs=1e-3)
    assert second[:, 0].max() < remaining[:, 0].max() - 10
    assert np.ptp(first[:, 0]) == pytest.approx(np.ptp(all_of_them[:, 0]), rel=0.3)


# pixels: width of a digit of the numbers in DejaVu Sans, from its metrics (0.636 of 11), rounded
# down to what is seen
LETTER = 6.9
TICKS = (0, 7, 14, 30)


@settings(max_examples=20)
@given(st.integers(1, 6), st.sampled_from([270, 340]))
def test_numbers_of_strips_never_touch(digits, width):
    strips = tuple(
        make_strip(day, *(10**digits - 1 - day - 2 * k for k in range(4))) for day in TICKS
    )
    svg = draw_curve(
        make_curve(RISING, known=strips),
        key="k",
        title="t",
        description="d",
        until=UNTIL,
        ticks=TICKS,
        size=(width, 166),
    )
    root = ET.fromstring(svg)
    places = find_texts(root)
    bars = [points[:, 0].max() for points in find_points(root, "bar")]
    for strip in strips:
        ends = [(places[words][0], words) for _, words in strip.parts.values()]
        lefts = [x - LETTER * len(words) for x, words in ends]
        assert all(end < left for (end, _), left in zip(ends, lefts[1:], strict=False))
        beside = {y for words, (_, y) in places.items() if words == strip.day}
        below = places[ends[0][1]][1] not in beside
        assert below or max(bars) < lefts[0]
        assert lefts[0] >= 0
        assert max(places[words][1] for _, words in ends) < float(root.get("height"))
