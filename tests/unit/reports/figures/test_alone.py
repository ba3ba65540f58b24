"""A figure as a file of its own."""

import xml.etree.ElementTree as ET

import pytest
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from pipeline.reports.committee.picture import (
    list_pictures,
)
from pipeline.reports.committee.report import compose_report
from pipeline.reports.figures.alone import CAPTION, MARGIN, TITLE, WIDTH, stand_alone
from tests.pool_of_estimates import build_estimates

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def estimates(plan):
    return build_estimates(plan)


@pytest.fixture(scope="module")
def report(estimates, plan):
    return compose_report(estimates, plan, {"deliveries": "3f1c"}, invented=True)


def test_a_file_holds_title_figure_and_caption_within_its_sheet(report):
    longest = {"bold": "", "normal": ""}
    for picture in list_pictures(report):
        caption = f"{picture['caption']} {report['invented']}"
        root = ET.fromstring(stand_alone(picture["svg"], picture["title"], caption))
        height = float(root.get("height"))
        lines: dict[str, list[str]] = {"bold": [], "normal": []}
        for text in root.findall(f"{SVG}text"):
            assert 0 < float(text.get("y")) < height
            lines[text.get("font-weight", "normal")].append(text.text)
        assert " ".join(lines["bold"]) == picture["title"]
        assert " ".join(lines["normal"]) == caption.strip()
        longest = {weight: max([longest[weight], *lines[weight]], key=len) for weight in lines}
        (inner,) = root.findall(f"{SVG}svg")
        assert float(inner.get("y")) + float(inner.get("height")) < height
        description = {part.get("id"): part.text for part in root if part.get("id")}
        assert description[root.get("aria-labelledby")] == picture["title"]
        assert (
            picture["alt"].removeprefix(picture["title"] + ". ")
            in description[root.get("aria-describedby")]
        )
    for weight, size in (("bold", TITLE), ("normal", CAPTION)):
        font = FontProperties(family="DejaVu Sans", weight=weight)
        assert (
            TextPath((0, 0), longest[weight], size=size, prop=font).get_extents().x1
            <= WIDTH - 2 * MARGIN
        )


def test_a_file_has_the_same_bytes_and_escapes_its_words(report):
    picture = next(list_pictures(report))
    first = stand_alone(picture["svg"], "A < B & C", "d < e")
    assert first == stand_alone(picture["svg"], "A < B & C", "d < e")
    assert "A &lt; B &amp; C" in first
