"""Curves of the share resolved over days, with their limits, the days on which tests turned
negative, and strips of what is known on some days."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import matplotlib.style
import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike

from pipeline.reports.figures.sheet import (
    BAND,
    INK,
    LINE_HEIGHT,
    MUTED,
    RULE,
    STRONG,
    STYLE,
    open_sheet,
    write_svg,
)
from pipeline.reports.figures.strips import Strip, draw_strips, measure_strips

# pixels
LEFT, RIGHT, TOP, BOTTOM = 40, 54, 24, 24  # margins; the strips come below
ABOVE_STRIPS = 8
STEP = {"where": "post", "solid_joinstyle": "miter"}  # a share holds until the next whole day
DASHES = (0, (4, 2.5))
KNOWN = "those tested again"


@dataclass(frozen=True)
class Curve:
    """A curve on the days 0, 1, 2, ...

    Attributes
    ----------
    share
        Share resolved, (days,); nan where it is not given.
    low, high
        Its 95 % confidence limits, (days,).
    tests
        Share whose tests had turned negative by each day, (days,).
    bounds
        For some days the least and the greatest share that those whose tests do not tell leave
        open.
    known
        For some days what is known of everybody who was tested again.
    """

    share: np.ndarray
    low: np.ndarray
    high: np.ndarray
    tests: np.ndarray
    bounds: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    known: tuple[Strip, ...] = ()

    def list_days(self, until: int) -> np.ndarray:
        """The days after day 0 and up to `until` that have a share."""
        return np.flatnonzero(~np.isnan(self.share[1 : until + 1])) + 1


@dataclass(frozen=True)
class Scale:
    """Where days and shares lie on the sheet of a curve, in pixels; the frame begins `top` below
    the edge."""

    width: int
    height: int
    until: int
    top: int = 0

    def x(self, days: ArrayLike) -> np.ndarray:
        return LEFT + (self.width - LEFT - RIGHT) / self.until * np.asarray(days, float)

    def y(self, shares: ArrayLike) -> np.ndarray:
        inside = self.height - TOP - BOTTOM
        return self.top + TOP + inside * (1 - np.asarray(shares, float))

    @property
    def foot(self) -> int:
        """Where the frame ends."""
        return self.top + self.height - BOTTOM


def draw_curve(
    curve: Curve,
    *,
    key: str,
    title: str,
    description: str,
    until: int,
    ticks: Sequence[int],
    reference: Curve | None = None,
    size: tuple[int, int] = (270, 166),
) -> str:
    """Draw a curve, with the strips of what is known below it; bounds on days without a share.

    Parameters
    ----------
    curve
        What is drawn.
    key
        Makes the names inside the element unique within a page.
    title, description
        What it is and shows, for those who do not see it.
    until
        The last day.
    ticks
        Days with a number below the frame.
    reference
        A curve that is dashed behind it.
    size
        Width and height of the curve alone, in pixels.

    Returns
    -------
    str
        An `<svg>` element.
    """
    below = measure_strips(curve.known, size[0], {})
    with matplotlib.style.context(STYLE):
        sheet = open_sheet(size[0], size[1] + (ABOVE_STRIPS + below if below else 0))
        scale = Scale(*size, until)
        lonely = {day: ends for day, ends in curve.bounds.items() if np.isnan(curve.share[day])}
        draw_frame(sheet, scale, ticks)
        draw_bounds(sheet, scale, lonely)
        draw_share(sheet, scale, curve, reference)
        draw_strips(sheet, curve.known, size[1] + ABOVE_STRIPS, size[0], KNOWN, {})
        return write_svg(sheet, key, title, description)


def draw_frame(sheet: Axes, scale: Scale, ticks: Sequence[int]) -> None:
    """Rules at none, half and all, what the height means, and the days below."""
    start, end = scale.x([0, scale.until])
    for share in (0, 0.5, 1):
        y = float(scale.y(share))
        sheet.plot([start, end], [y, y], color=RULE, linewidth=1, zorder=0)
        sheet.text(start - 5, y + 4, f"{100 * share:.0f}\u00a0%", ha="right", color=MUTED)
    sheet.text(2, scale.top + 11, "share resolved", color=MUTED)
    _write_days(sheet, scale, ticks)


def draw_share(sheet: Axes, scale: Scale, curve: Curve, reference: Curve | None = None) -> None:
    """The band, the line with the share it reaches, dots for tests turned negative, and the whole
    pool dashed."""
    days = np.arange(scale.until + 1)
    x = scale.x(days)
    sheet.fill_between(
        x, scale.y(curve.low[days]), scale.y(curve.high[days]), color=BAND, linewidth=0, step="post"
    )
    if reference is not None:
        dashed = {"color": MUTED, "linewidth": 1.3, "linestyle": DASHES, "gid": "whole"}
        sheet.step(x, scale.y(reference.share[days]), **STEP, **dashed)
    sheet.step(x, scale.y(curve.share[days]), **STEP, color=STRONG, linewidth=2.2, gid="curve")
    draw_dots(sheet, x[1:], scale.y(curve.tests[days[1:]]))
    _mark_lonely(sheet, scale, curve)
    _label_ends(sheet, scale, curve, reference)


def draw_dots(sheet: Axes, x: ArrayLike, y: ArrayLike) -> None:
    """Dots for tests turned negative."""
    sheet.plot(x, y, "o", color=MUTED, markersize=3, markeredgewidth=0, gid="tests")


def draw_bounds(sheet: Axes, scale: Scale, bounds: Mapping[int, tuple[float, float]]) -> None:
    """An upright with end marks for each day, from the least share to the greatest."""
    for day, ends in bounds.items():
        draw_upright(sheet, float(scale.x(day)), *(float(y) for y in scale.y(ends)))


def draw_upright(sheet: Axes, x: float, foot: float, head: float) -> None:
    """A thin line from `foot` to `head` with a mark across either end."""
    sheet.plot([x, x], [foot, head], color=MUTED, linewidth=0.6, zorder=1.5, gid="bounds")
    for y in (foot, head):
        sheet.plot([x - 4, x + 4], [y, y], color=INK, linewidth=1.6, solid_capstyle="butt")


def _mark_lonely(sheet: Axes, scale: Scale, curve: Curve) -> None:
    """A day between two unknown ones, which no line reaches, has a dot and shows its limits."""
    unknown = np.isnan(np.pad(curve.share[: scale.until + 1], 1, constant_values=np.nan))
    for day in curve.list_days(scale.until):
        if unknown[day] and unknown[day + 2]:
            x, limits = float(scale.x(day)), scale.y([curve.low[day], curve.high[day]])
            sheet.plot([x, x], limits, color=BAND, linewidth=5, solid_capstyle="butt", zorder=1)
            sheet.plot(x, float(scale.y(curve.share[day])), "o", color=STRONG, markersize=4.5)


def _label_ends(sheet: Axes, scale: Scale, curve: Curve, reference: Curve | None) -> None:
    """The share reached, written where each line ends; labels too close to each other are moved
    apart."""
    labels: list[list[Any]] = []
    for line, name, color, weight in (
        (curve, "", STRONG, "bold"),
        (reference, "all ", MUTED, "normal"),
    ):
        if line is not None and len(days := line.list_days(scale.until)):
            share = line.share[days[-1]]
            # not all are never said to be all
            percent = 100 if share == 1 else min(99, round(100 * share))
            style: dict[str, Any] = {"color": color, "weight": weight, "size": 12}
            labels.append(
                [
                    float(scale.x(days[-1])) + 6,
                    float(scale.y(share)),
                    f"{name}{percent}\u00a0%",
                    style,
                ]
            )
    if len(labels) == 2 and abs(labels[0][1] - labels[1][1]) < LINE_HEIGHT:
        upper, lower = sorted(labels, key=lambda label: label[1])
        middle = (upper[1] + lower[1]) / 2
        upper[1], lower[1] = middle - LINE_HEIGHT / 2, middle + LINE_HEIGHT / 2
    for x, y, words, style in labels:
        sheet.text(x, y + 4, words, **style)


def _write_days(sheet: Axes, scale: Scale, ticks: Sequence[int]) -> None:
    """Days under the frame."""
    top = scale.foot
    for day in ticks:
        x = float(scale.x(day))
        sheet.plot([x, x], [top, top + 4], color=MUTED, linewidth=1)
        # day 0 reaches into the margin, so that it leaves room for the next
        ha, aside, words = ("right", 5, "day 0") if day == 0 else ("center", 0, str(day))
        sheet.text(x + aside, top + 17, words, ha=ha, color=MUTED)
