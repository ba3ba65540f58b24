"""Ranges: marks where there are numbers, where the numbers say."""

import re

import pytest

from pipeline.reports.figures import ranges as range_figures
from pipeline.reports.figures.ranges import Range, draw_ranges

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
