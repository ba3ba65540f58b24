"""A few curves in one frame, told apart by their lines, their marks and their names, without
colour."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib.style
import numpy as np
from matplotlib.axes import Axes

from pipeline.reports.figures.curves import STEP, Curve, Scale, draw_frame, draw_upright
from pipeline.reports.figures.sheet import INK, MUTED, STRONG, STYLE, open_sheet, write_svg

# pixels
NAMES = 124  # right of the frame, for the name and the share of each curve
LETTERS = 18  # of a name that fit on a line there
LEADING = 13
ASIDE = 4.5  # between the intervals of two curves on the same day
LOOKS: tuple[dict[str, Any], ...] = (
    {"color": STRONG, "linestyle": "-", "marker": "o", "markerfacecolor": STRONG},
    {"color": INK, "linestyle": (0, (5, 2)), "marker": "s", "markerfacecolor": "#fff"},
    {"color": MUTED, "linestyle": (0, (1.2, 1.6)), "marker": "^", "markerfacecolor": MUTED},
)
MARKS = ("solid line, dots", "dashed line, hollow squares", "dotted line, triangles")


@dataclass(frozen=True)
class Named:
    """A curve with its name, and what is written after it: the share that it reaches."""

    name: str
    curve: Curve
    reaches: str


def draw_compared(
    curves: Sequence[Named],
    *,
    key: str,
    title: str,
    description: str,
    until: int,
    days: Sequence[int],
    ticks: Sequence[int],
    size: tuple[int, int] = (350, 190),
) -> str:
    """Draw curves in one frame; on some days each has its mark and its 95 % confidence interval,
    or without a share the bounds of it.

    Parameters
    ----------
    curves
        At most as many as there are LOOKS.
    key
        Makes the names inside the element unique within a page.
    title, description
        What it is and shows, for those who do not see it.
    until
        The last day.
    days
        Those with intervals.
    ticks
        Days with a number below the frame.
    size
        Width and height in pixels.

    Returns
    -------
    str
        An `<svg>` element.
    """
    with matplotlib.style.context(STYLE):
        sheet = open_sheet(*size)
        scale = Scale(size[0] - NAMES + 54, size[1], until)
        draw_frame(sheet, scale, ticks)
        ends = []
        for number, (named, look) in enumerate(zip(curves, LOOKS, strict=False)):
            aside = ASIDE * (number - (len(curves) - 1) / 2)
            _draw_line(sheet, scale, named.curve, look)
            _draw_intervals(sheet, scale, named.curve, look, days, aside)
            ends.append(float(scale.y(_find_end(named.curve, days))))
        _write_names(sheet, scale, curves, ends)
        return write_svg(sheet, key, title, description)


def _draw_line(sheet: Axes, scale: Scale, curve: Curve, look: dict[str, Any]) -> None:
    days = np.arange(scale.until + 1)
    line = {"color": look["color"], "linestyle": look["linestyle"], "linewidth": 1.7}
    # round ends would close the gaps of a dotted line
    shape = STEP | {"solid_capstyle": "butt", "dash_capstyle": "butt"}
    sheet.step(scale.x(days), scale.y(curve.share[days]), gid="curve", **shape, **line)


def _draw_intervals(
    sheet: Axes,
    scale: Scale,
    curve: Curve,
    look: dict[str, Any],
    days: Sequence[int],
    aside: float,
) -> None:
    """On each day the mark and its interval, a little to the side of those of other curves."""
    for day in days:
        x = float(scale.x(day)) + aside
        if np.isnan(curve.share[day]):
            if day in curve.bounds:
                draw_upright(sheet, x, *(float(y) for y in scale.y(curve.bounds[day])))
            continue
        limits = scale.y([curve.low[day], curve.high[day]])
        sheet.plot([x, x], limits, color=look["color"], linewidth=1.1, gid="range own")
        mark = {"markerfacecolor": look["markerfacecolor"], "markersize": 5}
        y = float(scale.y(curve.share[day]))
        sheet.plot(x, y, look["marker"], color=look["color"], gid="dot own", **mark)


def _find_end(curve: Curve, days: Sequence[int]) -> float:
    """The share where the name stands: the last one, or the middle of the last bounds."""
    told = curve.list_days(len(curve.share) - 1)
    if len(told):
        return float(curve.share[told[-1]])
    known = [curve.bounds[day] for day in days if day in curve.bounds]
    return float(np.mean(known[-1])) if known else 0.5


def _write_names(sheet: Axes, scale: Scale, curves: Sequence[Named], ends: list[float]) -> None:
    """Each name with its share beside the end of its line, with its mark; moved apart where they
    would touch."""
    left = scale.width - 54 + 12
    blocks = [[*textwrap.wrap(named.name, LETTERS), named.reaches] for named in curves]
    order = sorted(range(len(curves)), key=lambda number: (ends[number], number))
    heights = [LEADING * len(blocks[number]) + 3 for number in order]
    # as far down as the line, but never over the name above, and all within the sheet
    foot = float(scale.height)
    tops = [ends[number] - LEADING / 2 for number in order]
    for place in range(len(order)):
        before = tops[place - 1] + heights[place - 1] if place else 0.0
        tops[place] = max(tops[place], before)
    for place in reversed(range(len(order))):
        after = tops[place + 1] if place + 1 < len(order) else foot
        tops[place] = min(tops[place], after - heights[place])
    for place, number in enumerate(order):
        look, top = LOOKS[number], tops[place]
        mark = {"markerfacecolor": look["markerfacecolor"], "markersize": 5}
        sheet.plot(left, top + 6, look["marker"], color=look["color"], **mark)
        for line, words in enumerate(blocks[number]):
            last = line == len(blocks[number]) - 1
            style = {"color": look["color"], "weight": "bold" if last else "normal"}
            sheet.text(left + 8, top + 10 + LEADING * line, words, **style)
