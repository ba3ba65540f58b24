"""Sites in pictures: dots lie where their numbers say, limits where equal sites would, and no order
of the sites is kept."""

import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from pipeline.reports.figures.sites import SiteRatio, draw_forest, draw_funnel
from tests.unit.reports.figures.drawn import find_points, find_texts

WORDS = {"key": "k", "title": "t", "description": "d"}
SIZE = {"size": (340, 250)}
FURTHER = SiteRatio(1.0, 0.8, 1.25)


def make_site(ratio: float, error: float) -> SiteRatio:
    reach = norm.ppf(0.975) * error
    return SiteRatio(ratio, ratio * np.exp(-reach), ratio * np.exp(reach))


SITES = [make_site(1.3, 0.1), make_site(0.8, 0.2), make_site(1.0, 0.4)]


def find_dots(root: ET.Element) -> np.ndarray:
    """The places of dots."""
    marked = [g for g in root.iter() if g.get("class") == "dot site"]
    uses = [u for g in marked for u in g.iter() if u.tag.endswith("use")]
    return np.array([[float(u.get("x", "")), float(u.get("y", ""))] for u in uses])


def test_limits_of_a_funnel_are_passed_where_the_number_of_errors_says():
    for errors, inner, outer in ((1.9, True, True), (2.5, False, True), (3.2, False, False)):
        site = make_site(np.exp(errors * 0.2), 0.2)
        root = ET.fromstring(draw_funnel([site, make_site(1.0, 0.1)], **WORDS, **SIZE))
        x, y = min(find_dots(root), key=lambda dot: dot[0])  # of which less is known
        lines = find_points(root, "limit")
        above = [np.interp(x, *line.T) for line in lines if line[:, 1].mean() < find_one(root)]
        assert len(above) == 2
        # up is less: within a limit is below its line
        assert sorted(y > limit for limit in above) == sorted([inner, outer])


def find_one(root: ET.Element) -> float:
    """Where the ratio 1 lies."""
    return find_texts(root)["1"][1] - 4


@given(st.floats(0.3, 3.0), st.floats(0.05, 0.6))
def test_a_ratio_and_its_inverse_lie_as_far_from_one(ratio, error):
    sites = [make_site(ratio, error), make_site(1 / ratio, error), make_site(1.0, 0.3)]
    root = ET.fromstring(draw_funnel(sites, **WORDS, **SIZE))
    dots = find_dots(root)
    first, second = np.sort(dots[:, 1])[[0, 2]] - find_one(root)
    assert first == pytest.approx(-second, abs=0.02)


def test_pictures_keep_no_order_of_the_sites():
    funnel, forest = draw_funnel(SITES, **WORDS, **SIZE), draw_forest(SITES, FURTHER, **WORDS)
    assert draw_funnel(SITES[::-1], **WORDS, **SIZE) == funnel
    assert draw_forest(SITES[::-1], FURTHER, **WORDS) == forest


def test_a_forest_has_a_row_for_each_site_from_the_least_and_one_for_a_further_one():
    root = ET.fromstring(draw_forest(SITES, FURTHER, **WORDS))
    texts = find_texts(root)
    said = ["0.80 (0.54 to 1.18)", "1.00 (0.46 to 2.19)", "1.30 (1.07 to 1.58)"]
    heights = [texts[words][1] for words in said]
    assert heights == sorted(heights)
    assert texts["1.00 (0.80 to 1.25)"][1] > heights[-1]
    assert "a further site" in texts
    ranges = find_points(root, "range")
    assert len(ranges) == 4
    widths = [np.ptp(line[:, 0]) for line in ranges]
    assert widths[0] / widths[2] == pytest.approx(2, rel=0.01)  # by errors of the logarithm
    alone = ET.fromstring(draw_forest(SITES, None, **WORDS))
    assert len(find_points(alone, "range")) == 3
    assert "a further site" not in find_texts(alone)


def test_everything_stays_on_the_sheet():
    sites = [make_site(4.0, 0.3), make_site(0.1, 0.9), make_site(1.0, 0.02)]
    for root in (
        ET.fromstring(draw_funnel(sites, **WORDS, **SIZE)),
        ET.fromstring(draw_forest(sites, FURTHER, **WORDS)),
    ):
        width, height = float(root.get("width", "")), float(root.get("height", ""))
        lines = [*find_points(root, "limit"), *find_points(root, "range"), find_dots(root)]
        points = np.concatenate(lines)
        assert (points >= 0).all()
        assert (points <= [width, height]).all()
