"""Figures: what is drawn is what was given, the bytes are stable, and everybody can read them."""

import re
import xml.etree.ElementTree as ET

import matplotlib
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.reports.figures import bars as bar_figures
from pipeline.reports.figures import ranges as range_figures
from pipeline.reports.figures import sheet as figures
from pipeline.reports.figures.bars import Bar, draw_bars
from pipeline.reports.figures.curves import Curve, Scale, draw_curve
from pipeline.reports.figures.fillings import FILLINGS
from pipeline.reports.figures.ranges import Range, draw_ranges
from pipeline.reports.figures.strips import Strip
from tests.contrast import contrast

SVG = "{http://www.w3.org/2000/svg}"
SIZE = (270, 166)
UNTIL = 30


def make_curve(least, most=None, known: tuple[Strip, ...] = ()) -> Curve:
    least = np.array(least, float)
    most = least if most is None else np.asarray(most, float)
    return Curve(least, most, least - 0.05, most + 0.05, known)


def draw(curve: Curve, whole: Curve | None = None, key: str = "k") -> ET.Element:
    words = {"title": "A < B & C", "description": "about 50 %"}
    return ET.fromstring(
        draw_curve(curve, key=key, until=UNTIL, ticks=(0, 7, 14, 30), whole=whole, **words)
    )


def find_points(root: ET.Element, mark: str) -> list[np.ndarray]:
    """The unbroken stretches of each line of a class, as points in pixels."""
    marked = [g for g in root.iter(f"{SVG}g") if g.get("class", "").split()[:1] == [mark]]
    paths = [p.get("d", "") for g in marked for p in g.iter(f"{SVG}path")]
    runs = [run for path in paths for run in path.split("M")[1:]]
    return [np.array(re.findall(r"-?[\d.]+", run), float).reshape(-1, 2) for run in runs]


def find_texts(root: ET.Element) -> dict[str, tuple[float, float]]:
    """Each text with its place."""
    places = {}
    for text in root.iter(f"{SVG}text"):
        moved = re.search(r"translate\(([-\d.]+) ([-\d.]+)\)", text.get("transform", ""))
        x, y = moved.groups() if moved else (text.get("x"), text.get("y"))
        places[text.text] = (float(x), float(y))
    return places


RISING = 0.9 * (1 - np.exp(-np.arange(UNTIL + 1) / 8))


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


def make_strip(day: int, *counts: int | None, whole: int = 0) -> Strip:
    parts = {
        f: (n, "–" if n is None else f"{n:,}") for f, n in zip(list(FILLINGS), counts, strict=False)
    }
    return Strip(f"day {day}", whole or sum(n or 0 for n in counts), parts)


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
    strips = [make_strip(7, 60, None, 20, None, whole=100) for _ in range(2)]
    drawn = [ET.tostring(draw(make_curve(RISING, known=(strip,)))) for strip in strips]
    assert drawn[0] == drawn[1]
    (first, second), whole = find_points(ET.fromstring(drawn[0]), "bar"), make_strip(7, 60, 40)
    (all_of_them, rest) = find_points(draw(make_curve(RISING, known=(whole,))), "bar")
    assert second[:, 0].min() == pytest.approx(first[:, 0].max(), abs=1e-3)
    assert second[:, 0].max() < rest[:, 0].max() - 10
    assert np.ptp(first[:, 0]) == pytest.approx(np.ptp(all_of_them[:, 0]), rel=0.3)


def test_labels_of_two_lines_that_end_together_keep_their_distance():
    texts = find_texts(draw(make_curve(RISING), whole=make_curve(RISING - 0.01 * (RISING > 0.5))))
    heights = [y for words, (x, y) in texts.items() if x > Scale(*SIZE, UNTIL).x(UNTIL)]
    assert len(heights) == 2
    assert abs(heights[0] - heights[1]) >= figures.LINE_HEIGHT - 1e-6


def test_not_quite_all_is_never_called_all():
    almost, all_of_them = make_curve(RISING), make_curve(RISING)
    almost.least[-1], all_of_them.least[-1] = 0.999, 1.0
    assert "99\u00a0%" in find_texts(draw(almost))
    assert "100\u00a0%" in find_texts(draw(all_of_them))
    assert "99\u00a0%" not in find_texts(draw(all_of_them))


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


def test_bars_lie_within_their_whole():
    bars = [
        Bar("whole", "400", 0, 400),
        Bar("part", "100", 300, 100, "apart"),
        Bar("small", "hidden", 0, None),
    ]
    root = ET.fromstring(draw_bars(bars, whole=400, key="k", title="t", description="d", width=330))
    whole, part = find_points(root, "bar")  # no third: a hidden number has no bar
    assert np.ptp(whole[:, 0]) == pytest.approx(4 * np.ptp(part[:, 0]), rel=1e-3)
    assert part[:, 0].max() == pytest.approx(whole[:, 0].max(), abs=1e-3)
    assert "hidden" in find_texts(root)


def test_a_long_label_takes_more_lines_and_every_line_fits():
    short, long = (
        "Cannot stand",
        "In the roll position a quarter or more of the peak velocity is left after a while",
    )
    root = ET.fromstring(
        draw_bars(
            [Bar(long, "7 %", 0, 1), Bar(short, "1 %", 0, 1)],
            whole=1,
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


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.one_of(st.none(), st.floats(0, 1)), min_size=UNTIL + 1, max_size=UNTIL + 1),
    st.floats(0, 1),
)
def test_any_curve_stays_on_its_sheet(shares, width):
    least = np.maximum.accumulate(np.array([0.0 if share is None else share for share in shares]))
    least[[share is None for share in shares]] = np.nan
    curve = Curve(least, least, least * (1 - width), least + (1 - least) * width)
    root = draw(curve)
    for mark in ("curve", "whole"):
        for points in find_points(root, mark):
            assert (points >= -1e-6).all()
            assert (points <= np.array(SIZE) + 1e-6).all()
    assert "nan" not in ET.tostring(root, encoding="unicode").lower()


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
    beyond = ends(Range("a", "", 0.5, -3.0, 9.0))
    assert beyond == pytest.approx(wide)


def test_kinds_of_ranges_differ_in_more_than_colour():
    looks = {(kind.marker, kind.hollow) for kind in range_figures.KINDS.values()}
    assert len(looks) == len(range_figures.KINDS)
