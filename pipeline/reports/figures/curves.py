"""Curves of the share resolved over days, with their limits and strips of what is known on some
days."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib.style
import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike

from pipeline.reports.figures.sheet import (
    BAND,
    LINE_HEIGHT,
    MUTED,
    RULE,
    STRONG,
    STYLE,
    ZONE,
    open_sheet,
    write_svg,
)
from pipeline.reports.figures.strips import Strip, draw_strips, measure_strips

# pixels
LEFT, RIGHT, TOP, BOTTOM = 40, 54, 24, 24  # margins; the strips come below
ABOVE_STRIPS = 8
STEP = {"where": "post", "solid_joinstyle": "miter"}  # a share holds until the next whole day
DASHES = (0, (4, 2.5))
KNOWN = "known on the day"


@dataclass(frozen=True)
class Curve:
    """The share resolved on days 0, 1, 2, ...; NaN where it is not given.

    `least` and `most` differ inside an interval of no information; `low` and `high` are 95 %
    confidence limits around both. `known` divides everybody by what is known on some days.
    """

    least: np.ndarray
    most: np.ndarray
    low: np.ndarray
    high: np.ndarray
    known: tuple[Strip, ...] = ()

    def list_days(self, until: int) -> np.ndarray:
        """The days after day 0 and up to `until` that have a share."""
        return np.flatnonzero(~np.isnan(self.least[1 : until + 1])) + 1


@dataclass(frozen=True)
class Scale:
    """Where days and shares lie on the sheet of a curve, in pixels."""

    width: int
    height: int
    until: int

    def x(self, days: ArrayLike) -> np.ndarray:
        return LEFT + (self.width - LEFT - RIGHT) / self.until * np.asarray(days, float)

    def y(self, shares: ArrayLike) -> np.ndarray:
        return TOP + (self.height - TOP - BOTTOM) * (1 - np.asarray(shares, float))


def draw_curve(
    curve: Curve,
    *,
    key: str,
    title: str,
    description: str,
    until: int,
    ticks: Sequence[int],
    reference: Curve | None = None,
    legend: dict[str, str] | None = None,
    size: tuple[int, int] = (270, 166),
) -> str:
    """The curve as an `<svg>` element up to day `until`, `reference` dashed behind it,
    the strips of what is known below it.

    `size` is that of the curve alone; `legend` names the fillings of the strips in words, and is
    left out where the page does. `key` makes the names inside the element unique within a page.
    """
    legend = legend or {}
    below = measure_strips(curve.known, size[0], legend)
    with matplotlib.style.context(STYLE):
        sheet = open_sheet(size[0], size[1] + (ABOVE_STRIPS + below if below else 0))
        scale = Scale(*size, until)
        days = np.arange(until + 1)
        x = scale.x(days)
        _draw_frame(sheet, scale)
        for low, high, shade in ((curve.low, curve.high, BAND), (curve.least, curve.most, ZONE)):
            sheet.fill_between(
                x, scale.y(low[days]), scale.y(high[days]), color=shade, linewidth=0, step="post"
            )
        if reference is not None:
            sheet.step(
                x,
                scale.y(reference.least[days]),
                **STEP,
                color=MUTED,
                linewidth=1.3,
                linestyle=DASHES,
                gid="whole",
            )
        sheet.step(x, scale.y(curve.most[days]), **STEP, color=STRONG, linewidth=0.8)
        sheet.step(x, scale.y(curve.least[days]), **STEP, color=STRONG, linewidth=2.2, gid="curve")
        _mark_days(sheet, scale, curve, ticks)
        _label_ends(sheet, scale, curve, reference)
        _write_days(sheet, scale, ticks)
        draw_strips(sheet, curve.known, size[1] + ABOVE_STRIPS, size[0], KNOWN, legend)
        return write_svg(sheet, key, title, description)


def _draw_frame(sheet: Axes, scale: Scale) -> None:
    """Rules at none, half and all, and what the height means."""
    start, end = scale.x([0, scale.until])
    for share in (0, 0.5, 1):
        y = float(scale.y(share))
        sheet.plot([start, end], [y, y], color=RULE, linewidth=1, zorder=0)
        sheet.text(start - 5, y + 4, f"{100 * share:.0f}\u00a0%", ha="right", color=MUTED)
    sheet.text(2, 11, "share resolved", color=MUTED)


def _mark_days(sheet: Axes, scale: Scale, curve: Curve, ticks: Sequence[int]) -> None:
    """Dots on the days under the frame; a day between two unknown ones, which no line reaches,
    shows its limits too."""
    unknown = np.isnan(np.pad(curve.least[: scale.until + 1], 1, constant_values=np.nan))
    for day in curve.list_days(scale.until):
        x, lonely = float(scale.x(day)), unknown[day] and unknown[day + 2]
        if lonely:
            limits = scale.y([curve.low[day], curve.high[day]])
            sheet.plot([x, x], limits, color=BAND, linewidth=5, solid_capstyle="butt", zorder=1)
        if lonely or day in ticks:
            sheet.plot(x, float(scale.y(curve.least[day])), "o", color=STRONG, markersize=4.5)


def _label_ends(sheet: Axes, scale: Scale, curve: Curve, reference: Curve | None) -> None:
    """The share reached, written where each line ends; labels too close to each other are moved
    apart."""
    labels: list[list[Any]] = []
    for line, name, color, weight in (
        (curve, "", STRONG, "bold"),
        (reference, "all ", MUTED, "normal"),
    ):
        if line is not None and len(days := line.list_days(scale.until)):
            share = line.least[days[-1]]
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
    top = scale.height - BOTTOM
    for day in ticks:
        x = float(scale.x(day))
        sheet.plot([x, x], [top, top + 4], color=MUTED, linewidth=1)
        # day 0 reaches into the margin, so that it leaves room for the next
        ha, aside, words = ("right", 5, "day 0") if day == 0 else ("center", 0, str(day))
        sheet.text(x + aside, top + 17, words, ha=ha, color=MUTED)
