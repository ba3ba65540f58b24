"""Any figure: the bytes are stable, names do not clash, and everybody can read it."""

import re
import xml.etree.ElementTree as ET

import matplotlib
import pytest

from pipeline.reports.figures import sheet as figures
from tests.contrast import contrast
from tests.unit.reports.figures.drawn import (
    RISING,
    SVG,
    draw,
    make_curve,
)


def test_same_numbers_give_the_same_bytes_whatever_the_settings_of_the_machine():
    first = ET.tostring(draw(make_curve(RISING)))
    with matplotlib.rc_context(
        {
            "font.size": 30,
            "lines.solid_capstyle": "round",
            "svg.fonttype": "path",
            "path.simplify": False,
        }
    ):
        second = ET.tostring(draw(make_curve(RISING)))
    assert first == second


def test_figures_are_named_for_those_who_do_not_see_them():
    root = draw(make_curve(RISING))
    assert root.get("role") == "img"
    titles = {
        part.get("id"): part.text for part in root if part.tag in (f"{SVG}title", f"{SVG}desc")
    }
    assert titles[root.get("aria-labelledby")] == "A < B & C"
    assert titles[root.get("aria-describedby")] == "about 50 %"


def test_names_do_not_clash_within_a_page_and_every_reference_is_kept():
    page = "".join(
        ET.tostring(draw(make_curve(RISING), key=key), encoding="unicode") for key in ("a", "b")
    )
    names = re.findall(r'\bid="([^"]+)"', page)
    assert len(names) == len(set(names))
    references = re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', page)
    assert {a or b for a, b in references} <= set(names)
    assert "<style" not in page  # a style inside one figure would hold for the whole page


def test_contrast_agrees_with_its_definition():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # the greatest possible, same source
    assert contrast("#888888", "#888888") == 1


def test_colors_can_be_told_from_paper_and_from_each_other():
    """W3C Web Content Accessibility Guidelines 2.2: 4.5 for text (1.4.3),
    3 for what carries a meaning (1.4.11)."""
    assert all(
        contrast(color, "#ffffff") >= 4.5
        for color in (figures.INK, figures.MUTED, figures.STRONG, figures.APART)
    )
    assert contrast(figures.STRONG, figures.ZONE) >= 3  # the line on the zone
    assert contrast(figures.STRONG, figures.BAND) >= 3  # the line on the band
    # both are also bounded by lines, and told apart without color
    assert contrast(figures.ZONE, figures.BAND) >= 1.5
