"""Ranges: marks where there are numbers, where the numbers say."""

import re
import xml.etree.ElementTree as ET

import pytest

from pipeline.reports.figures import ranges as range_figures
from pipeline.reports.figures.ranges import Range, draw_differences, draw_ranges
from tests.unit.reports.figures.drawn import find_texts

ROWS = [
    Range("First", "60 % (50 to 70)", 0.6, 0.5, 0.7, heading="All"),
    Range("A printed result", "30 to 90 %", None, 0.3, 0.9, "printed"),
    Range("Without a number", "hidden", None, None, None),
]
SHARES = {
    "span": (0.0, 1.0),
    "ticks": {0.0: "0", 1.0: "1"},
    "key": "k",
    "title": "t",
    "description": "d",
}


def draw_rows(*rows: Range) -> str:
    return draw_ranges(rows, **SHARES)


def test_ranges_have_a_mark_and_a_line_only_where_there_is_a_number():
    drawn = draw_rows(*ROWS)
    assert (drawn.count('class="dot '), drawn.count('class="range ')) == (1, 2)
    assert all(f">{words}<" in drawn for row in ROWS for words in (row.label, row.number))
    assert ">All<" in drawn
    assert drawn == draw_rows(*ROWS)


def test_ranges_lie_where_their_numbers_say():
    def ends(row: Range) -> list[float]:
        path = re.search(
            r'class="range own">\s*<path d="M ([\d.]+) [\d.]+ +L ([\d.]+) ', draw_rows(row)
        )
        return [float(path[1]), float(path[2])]

    wide, narrow = ends(Range("a", "", 0.5, 0.0, 1.0)), ends(Range("a", "", 0.5, 0.25, 0.75))
    length = wide[1] - wide[0]
    assert [(x - wide[0]) / length for x in narrow] == pytest.approx([0.25, 0.75], abs=1e-3)
    outside = ends(Range("a", "", 0.5, -3.0, 9.0))
    assert outside == pytest.approx(wide)


def test_kinds_of_ranges_differ_in_more_than_colour():
    looks = {(kind.marker, kind.hollow) for kind in range_figures.KINDS.values()}
    assert len(looks) == len(range_figures.KINDS)


def draw_less(*rows: Range, reach: float = 4.0) -> str:
    words = {"key": "k", "title": "t", "description": "d", "unit": "days"}
    return draw_differences(rows, reach=reach, **words)


def test_differences_lie_around_0_and_what_leaves_the_scale_ends_in_an_arrow():
    rows = [
        Range("Usual", "6.1 days", None, None, None, heading="A variant"),
        Range("Other", "+1.0", 1.0, -1.0, 3.0, "unclear"),
        Range("Far", "+9.0", 9.0, 3.0, 12.0, "clear"),
    ]
    drawn = draw_less(*rows)
    assert all(f">{words}<" in drawn for row in rows for words in (row.label, row.number))
    assert ">A variant<" in drawn
    # the far one has no mark within the scale, and its line goes to the end of it
    assert (drawn.count('class="dot '), drawn.count('class="range ')) == (1, 2)
    near, far = (
        [float(x) for x in pair]
        for pair in re.findall(
            r'class="range \w+">\s*<path d="M ([\d.]+) [\d.]+ +L ([\d.]+) ', drawn
        )
    )
    scale = (near[1] - near[0]) / 4  # pixels of one day
    assert far[0] == pytest.approx(near[1], abs=0.01)  # both end at 3
    assert far[1] == pytest.approx(near[1] + scale, abs=0.01)  # at 4, the end of the scale


def test_a_long_heading_of_differences_is_not_cut_at_the_edge():
    """The longest name of a variant; the rows below it move down."""
    name = "Short arm or heavy cupula by findings on sitting up"
    rows = [Range("Other", "+1.0", 1.0, -1.0, 3.0, "unclear", heading=h) for h in ("Short", name)]
    short, long = (find_texts(ET.fromstring(draw_less(row))) for row in rows)
    lines = [text for text in long if text and text not in short]
    assert " ".join(sorted(lines, key=lambda text: long[text][1])) == name
    assert max(map(len, lines)) <= range_figures.BOLD
    assert long["Other"][1] == short["Other"][1] + range_figures.LINE_HEIGHT


def test_a_long_heading_takes_more_lines():
    heading = "A heading that is far too long for one line of a figure on a telephone"
    drawn = draw_rows(Range("First", "60 %", 0.6, 0.5, 0.7, heading=heading))
    assert f">{heading}<" not in drawn
    assert all(f"{word}" in drawn for word in heading.split())
