"""Curves in one frame: each can be told from the others without colour, and none hides another's
name or interval."""

import xml.etree.ElementTree as ET
from itertools import combinations, pairwise

import numpy as np
import pytest

from pipeline.reports.figures.compared import LEADING, LOOKS, MARKS, Named, draw_compared
from tests.unit.reports.figures.drawn import RISING, UNTIL, find_points, find_texts, make_curve

DAYS = (1, 7, 14, 30)


def draw(*curves: Named) -> ET.Element:
    words = {"key": "k", "title": "t", "description": "d"}
    return ET.fromstring(
        draw_compared(curves, until=UNTIL, days=DAYS, ticks=(0, 7, 14, 30), **words)
    )


def test_lines_and_marks_differ_in_more_than_colour():
    assert len(MARKS) == len(LOOKS)
    for one, other in combinations(LOOKS, 2):
        assert one["linestyle"] != other["linestyle"]
        assert one["marker"] != other["marker"]


def test_each_curve_has_a_line_and_on_each_day_a_mark_and_an_interval():
    curves = [Named(name, make_curve(RISING * part), "x") for name, part in (("a", 1), ("b", 0.7))]
    root = draw(*curves)
    assert len(find_points(root, "curve")) == 2
    assert len(find_points(root, "range")) == 2 * len(DAYS)
    places = {round(float(line[0, 0]), 2) for line in find_points(root, "range")}
    assert len(places) == 2 * len(DAYS)  # none lies on another


def test_an_interval_lies_where_its_limits_say():
    lines = find_points(draw(Named("a", make_curve(RISING), "x")), "range")
    lengths = [abs(float(line[0, 1] - line[1, 1])) for line in lines]
    assert lengths == pytest.approx([lengths[0]] * len(DAYS), rel=1e-3)  # ± 5 points each
    middles = [float(line[:, 1].mean()) for line in lines]
    shares = np.array([RISING[day] for day in DAYS])
    fit = np.polyfit(shares, middles, 1)
    assert np.polyval(fit, shares) == pytest.approx(middles, abs=0.01)
    assert abs(fit[0]) * 0.1 == pytest.approx(lengths[0], rel=1e-3)


@pytest.mark.parametrize("level", [0.02, 0.5, 1.0])
def test_names_never_touch_and_stay_within_the_sheet(level):
    flat = np.full(UNTIL + 1, level)
    names = ["anterior or posterior canal", "posterior canal, arm not certain", "lateral canal"]
    root = draw(*(Named(name, make_curve(flat), f"{k} %") for k, name in enumerate(names)))
    texts = find_texts(root)
    heights = sorted(y for words, (x, y) in texts.items() if x > 230 and "canal" in words)
    assert all(b - a >= LEADING - 0.01 for a, b in pairwise(heights))
    ends = [texts[f"{k} %"][1] for k in range(3)]
    assert all(0 < y <= float(root.get("height")) for y in ends)


def test_without_a_share_there_are_bounds_and_no_mark():
    nothing = np.full(UNTIL + 1, np.nan)
    root = draw(Named("a", make_curve(nothing, bounds={7: (0.2, 0.7)}), "bounds, day 7"))
    assert len(find_points(root, "bounds")) == 1
    assert find_points(root, "range") == []
