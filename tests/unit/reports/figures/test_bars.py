"""Bars within their whole, and labels that fit."""

import xml.etree.ElementTree as ET
from textwrap import wrap

import numpy as np
import pytest

from pipeline.reports.figures import bars as bar_figures
from pipeline.reports.figures.bars import Bar, Stack, draw_bars, draw_stacks
from pipeline.reports.figures.sheet import BOLD
from tests.unit.reports.figures.drawn import (
    find_points,
    find_texts,
)


def test_bars_lie_within_their_whole():
    bars = [
        Bar("whole", "400", 0, 400),
        Bar("part", "100", 300, 100, "apart"),
        Bar("small", "hidden", 0, None),
    ]
    root = ET.fromstring(draw_bars(bars, total=400, key="k", title="t", description="d", width=330))
    total, part = find_points(root, "bar")  # no third: a hidden number has no bar
    assert np.ptp(total[:, 0]) == pytest.approx(4 * np.ptp(part[:, 0]), rel=1e-3)
    assert part[:, 0].max() == pytest.approx(total[:, 0].max(), abs=1e-3)
    assert "hidden" in find_texts(root)


def test_a_long_label_takes_more_lines_and_every_line_fits():
    short, long = (
        "Cannot stand",
        "In the roll position a quarter or more of the peak velocity is left after a while",
    )
    root = ET.fromstring(
        draw_bars(
            [Bar(long, "7 %", 0, 1), Bar(short, "1 %", 0, 1)],
            total=1,
            key="k",
            title="t",
            description="d",
        )
    )
    places = find_texts(root)
    lines = [words for words in places if words in long]
    assert len(lines) > 1
    assert " ".join(lines) == long
    assert all(
        0.56 * 12 * len(line) <= 330 - bar_figures.NUMBER_END - bar_figures.GAP for line in lines
    )  # 0.56: mean width of a letter, measured
    assert places["7 %"][1] == places[lines[0]][1] < places[lines[1]][1] < places[short][1]


def test_a_long_number_pushes_its_label_aside():
    texts = {
        n: find_texts(
            ET.fromstring(
                draw_bars([Bar("a label", n, 0, 1)], total=1, key="k", title="t", description="d")
            )
        )
        for n in ("7", "123,456,789")
    }
    assert texts["7"]["a label"][0] == 56
    assert texts["123,456,789"]["a label"][0] - 8.4 * 11 >= 0


def test_parts_of_a_whole_lie_in_a_row_and_a_hidden_one_takes_no_place():
    parts = [
        (60, "60 negative", "negative"),
        (None, "[c] lost", "leaves"),
        (20, "20 again", "again"),
    ]
    stacks = [Stack("Epley", "under", 100, parts), Stack("Semont", "under", 40, [parts[2]])]
    root = ET.fromstring(draw_stacks(stacks, key="k", title="t", description="d", width=340))
    first, second, other = find_points(root, "bar")
    assert np.ptp(first[:, 0]) == pytest.approx(340 * 0.6, abs=0.1)
    assert second[:, 0].min() == pytest.approx(first[:, 0].max(), abs=0.1)
    assert np.ptp(other[:, 0]) == pytest.approx(170, abs=0.1)
    words = " ".join(find_texts(root))
    assert words.index("60 negative") < words.index("[c] lost") < words.index("20 again")


def test_rounded_parts_that_are_more_than_their_whole_stay_within_the_sheet():
    stack = Stack("a", "b", 100, [(60, "60", "negative"), (60, "60", "again")])
    root = ET.fromstring(draw_stacks([stack], key="k", title="t", description="d", width=340))
    assert max(bar[:, 0].max() for bar in find_points(root, "bar")) <= 340.01


def test_a_long_heading_of_a_whole_takes_more_lines():
    heading = "Cupulolith repositioning, with or without vibration, 970 episodes"
    stack = Stack(heading, "tested next", 10, [(10, "10 negative", "negative")])
    root = ET.fromstring(draw_stacks([stack], key="k", title="t", description="d", width=340))
    texts = find_texts(root)
    lines = sorted(set(texts) & set(wrap(heading, BOLD)), key=lambda text: texts[text][1])
    assert len(lines) > 1
    assert " ".join(lines) == heading
