"""Curves: what is drawn is what was given, and no more than that."""

import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.reports.figures import sheet as figures
from pipeline.reports.figures.curves import Curve, Scale
from tests.unit.reports.figures.drawn import (
    RISING,
    SVG,
    UNTIL,
    draw,
    find_points,
    find_texts,
    make_curve,
)

SIZE = (270, 166)


def test_the_line_keeps_each_share_until_the_next_day():
    (line,) = find_points(draw(make_curve(RISING)), "curve")
    scale = Scale(*SIZE, UNTIL)
    for part_of_day in (0.1, 0.9):
        drawn = np.interp(scale.x(np.arange(UNTIL) + part_of_day), line[:, 0], line[:, 1])
        assert drawn == pytest.approx(
            scale.y(RISING[:-1]), abs=0.2
        )  # the drawing library leaves out points on a straight line


def test_no_line_crosses_days_without_a_share():
    shares = RISING.copy()
    shares[[0, 1, 2, 11, 12, 25, 26, 27, 28, 29, 30]] = np.nan
    root = draw(make_curve(shares))
    first, second = find_points(root, "curve")
    scale = Scale(*SIZE, UNTIL)
    ends = [*first[[0, -1], 0], *second[[0, -1], 0]]
    assert ends == pytest.approx(scale.x([3, 11, 13, 25]), abs=1e-3)
    assert "nan" not in ET.tostring(root, encoding="unicode").lower()


def test_a_single_known_day_is_still_seen():
    alone = np.full(UNTIL + 1, np.nan)
    alone[9] = 0.6
    nothing = np.full(UNTIL + 1, np.nan)
    scale = Scale(*SIZE, UNTIL)
    place = (float(scale.x(9)), float(scale.y(0.6)))
    dots, none = (
        [
            (float(dot.get("x")), float(dot.get("y")))
            for dot in draw(make_curve(shares)).iter(f"{SVG}use")
        ]
        for shares in (alone, nothing)
    )
    assert pytest.approx(place, abs=1e-3) in dots
    assert none == []


def test_labels_of_two_lines_that_end_together_keep_their_distance():
    texts = find_texts(
        draw(make_curve(RISING), reference=make_curve(RISING - 0.01 * (RISING > 0.5)))
    )
    heights = [y for words, (x, y) in texts.items() if x > Scale(*SIZE, UNTIL).x(UNTIL)]
    assert len(heights) == 2
    assert abs(heights[0] - heights[1]) >= figures.LINE_HEIGHT - 1e-6


def test_not_quite_all_is_never_called_all():
    almost, all_of_them = make_curve(RISING), make_curve(RISING)
    almost.share[-1], all_of_them.share[-1] = 0.999, 1.0
    assert "99\u00a0%" in find_texts(draw(almost))
    assert "100\u00a0%" in find_texts(draw(all_of_them))
    assert "99\u00a0%" not in find_texts(draw(all_of_them))


@settings(max_examples=25)
@given(
    st.lists(st.one_of(st.none(), st.floats(0, 1)), min_size=UNTIL + 1, max_size=UNTIL + 1),
    st.floats(0, 1),
)
def test_any_curve_stays_on_its_sheet(shares, width):
    least = np.maximum.accumulate(np.array([0.0 if share is None else share for share in shares]))
    least[[share is None for share in shares]] = np.nan
    ends = dict.fromkeys((1, 7, 14, 30), (0.0, 1.0))
    curve = Curve(least, least * (1 - width), least + (1 - least) * width, least * width, ends)
    root = draw(curve, reference=curve)
    for mark in ("curve", "whole", "bounds"):
        for points in find_points(root, mark):
            assert (points >= -1e-6).all()
            assert (points <= np.array(SIZE) + 1e-6).all()
    assert "nan" not in ET.tostring(root, encoding="unicode").lower()
