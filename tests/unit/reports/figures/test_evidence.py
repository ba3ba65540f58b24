"""The figure of the whole pool: when clinics tested, what was seen and what is concluded stand on
one axis of days, each where its numbers put it."""

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from pipeline.reports.figures.curves import Curve, Scale
from pipeline.reports.figures.evidence import ROW, FirstTests, draw_evidence
from tests.unit.reports.figures.drawn import SVG, UNTIL, find_points, find_texts
from tests.unit.reports.figures.test_curves import RISING

SIZE = (340, 206)
LEGEND = {"curve": "a line", "tests": "some dots", "bounds": "two ends"}
BOUNDS = {7: (0.2, 0.8), 30: (0.5, 0.9)}


def draw(curve: Curve, first: FirstTests, legend: dict = LEGEND) -> ET.Element:
    return ET.fromstring(
        draw_evidence(
            curve,
            first,
            key="k",
            title="t",
            description="d",
            until=UNTIL,
            ticks=(0, 7, 14, 30),
            legend=legend,
        )
    )


def make_curve(**more) -> Curve:
    return Curve(RISING, RISING - 0.05, RISING + 0.05, RISING * 0.8, **more)


def find_dots(root: ET.Element) -> np.ndarray:
    marked = [g for g in root.iter(f"{SVG}g") if g.get("class") == "tests"]
    uses = [use for g in marked for use in g.iter(f"{SVG}use")]
    return np.array([(float(use.get("x")), float(use.get("y"))) for use in uses])


def test_line_dots_and_end_marks_stand_where_their_numbers_are():
    root = draw(make_curve(bounds=BOUNDS), FirstTests(3, 8, 17))
    scale, days = Scale(*SIZE, UNTIL, ROW), np.arange(1, UNTIL + 1)
    dots = find_dots(root)[: len(days)]
    assert dots[:, 0] == pytest.approx(scale.x(days), abs=1e-3)
    assert dots[:, 1] == pytest.approx(scale.y(RISING[1:] * 0.8), abs=1e-3)
    (line,) = find_points(root, "curve")
    for day in (3, 14, 29):
        drawn = np.interp(scale.x(day + 0.5), line[:, 0], line[:, 1])
        assert drawn == pytest.approx(float(scale.y(RISING[day])), abs=0.2)
    uprights = find_points(root, "bounds")[: len(BOUNDS)]
    for upright, (day, ends) in zip(uprights, BOUNDS.items(), strict=True):
        assert upright[:, 0] == pytest.approx(scale.x([day, day]), abs=1e-3)
        assert upright[:, 1] == pytest.approx(scale.y(ends), abs=1e-3)


def test_first_tests_stand_above_the_same_days():
    root = draw(make_curve(), FirstTests(3, 8, 17))
    marks = [points[0, 0] for points in find_points(root, "first")]
    assert marks == pytest.approx(Scale(*SIZE, UNTIL).x([3, 8, 17]), abs=1e-3)
    texts = find_texts(root)
    assert {"¼", "½", "¾"} <= set(texts)
    assert all(texts[part][1] < ROW for part in ("¼", "½", "¾"))


def test_parts_tested_on_days_near_each_other_share_a_label():
    texts = find_texts(draw(make_curve(), FirstTests(7, 7, 8)))
    assert "¼ ½ ¾" in texts


@pytest.mark.parametrize("first", [FirstTests(), FirstTests(UNTIL + 1)])
def test_without_first_tests_on_its_days_the_figure_begins_with_the_curve(first):
    root = draw(make_curve(), first)
    assert find_points(root, "first") == []
    assert not any("tested again" in words for words in find_texts(root))
    whole = draw(make_curve(), FirstTests(3, 8, 17))
    assert float(whole.get("height")) - float(root.get("height")) == pytest.approx(ROW)


def test_the_legend_has_a_line_for_each_mark_and_stays_on_the_sheet():
    root = draw(make_curve(bounds=BOUNDS), FirstTests(3, 8, 17))
    places = find_texts(root)
    heights = [places[words][1] for words in LEGEND.values()]
    assert heights == sorted(heights)
    assert heights[-1] < float(root.get("height"))
    assert "two ends" not in find_texts(draw(make_curve(), FirstTests(), {"curve": "a line"}))


def test_same_numbers_give_the_same_bytes():
    first, second = (
        ET.tostring(draw(make_curve(bounds=BOUNDS), FirstTests(3, 8, 17))) for _ in range(2)
    )
    assert first == second
