"""Curves of the share resolved over days, with their limits and the numbers at risk."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import matplotlib.style
import numpy as np
from matplotlib.axes import Axes

from pipeline.figures.sheet import BAND, INK, LINE_HEIGHT, MUTED, RULE, STRONG, STYLE, ZONE, open_sheet, write_svg

# pixels
LEFT, RIGHT, TOP, BOTTOM = 40, 54, 24, 58  # margins
SECOND_LINE, DIGIT = 14, 6.8  # height of a further line of numbers at risk; width of a digit
STEP = {"where": "post", "solid_joinstyle": "miter"}  # a share holds until the next whole day
DASHES = (0, (4, 2.5))


@dataclass(frozen=True)
class Curve:
    """The share resolved on days 0, 1, 2, ...; NaN where it is not given.

    `least` and `most` differ inside an interval of no information; `low` and `high` are 95 % limits around both.
    `at_risk` says in words how many were still followed and not resolved on a day.
    """

    least: np.ndarray
    most: np.ndarray
    low: np.ndarray
    high: np.ndarray
    at_risk: dict[int, str] = field(default_factory=dict)

    def list_days(self, until: int) -> np.ndarray:
        """The days after day 0 and up to `until` that have a share."""
        return np.flatnonzero(~np.isnan(self.least[1 : until + 1])) + 1


@dataclass(frozen=True)
class Scale:
    """Where days and shares lie on the sheet of a curve, in pixels."""

    width: int
    height: int
    until: int
    bottom: int = BOTTOM

    def x(self, days):
        return LEFT + (self.width - LEFT - RIGHT) / self.until * np.asarray(days, float)

    def y(self, shares):
        return TOP + (self.height - TOP - self.bottom) * (1 - np.asarray(shares, float))


def draw_curve(
    curve: Curve,
    *,
    key: str,
    title: str,
    description: str,
    until: int,
    ticks: Sequence[int],
    whole: Curve | None = None,
    size: tuple[int, int] = (270, 200),
) -> str:
    """The curve as an `<svg>` element up to day `until`, `whole` dashed behind it, numbers at risk under `ticks`.

    `key` makes the names inside the element unique within a page.
    """
    with matplotlib.style.context(STYLE):
        sheet, scale = open_sheet(*size), _measure(size, until, curve, ticks)
        days = np.arange(until + 1)
        x = scale.x(days)
        _draw_frame(sheet, scale)
        for low, high, shade in ((curve.low, curve.high, BAND), (curve.least, curve.most, ZONE)):
            sheet.fill_between(x, scale.y(low[days]), scale.y(high[days]), color=shade, linewidth=0, step="post")
        if whole is not None:
            sheet.step(x, scale.y(whole.least[days]), **STEP, color=MUTED, linewidth=1.3, linestyle=DASHES, gid="whole")
        sheet.step(x, scale.y(curve.most[days]), **STEP, color=STRONG, linewidth=0.8)
        sheet.step(x, scale.y(curve.least[days]), **STEP, color=STRONG, linewidth=2.2, gid="curve")
        _mark_days(sheet, scale, curve, ticks)
        _label_ends(sheet, scale, curve, whole)
        _write_at_risk(sheet, scale, curve, ticks)
        return write_svg(sheet, key, title, description)


def _measure(size: tuple[int, int], until: int, curve: Curve, ticks: Sequence[int]) -> Scale:
    """The scale, with a second line under the frame where numbers at risk have no room beside each other."""
    scale = Scale(*size, until)
    second = any(_place_at_risk(scale, curve, ticks).values())
    return Scale(*size, until, BOTTOM + SECOND_LINE) if second else scale


def _place_at_risk(scale: Scale, curve: Curve, ticks: Sequence[int]) -> dict[int, bool]:
    """For each day whether its number goes to the second line: it would touch the one before on the first."""
    places, taken = {}, -np.inf
    for day in ticks:
        width = DIGIT * len(curve.at_risk.get(day, ""))
        left = float(scale.x(day)) + (5 - width if day == 0 else -width / 2)
        places[day] = left < taken
        taken = taken if places[day] else left + width + DIGIT
    return places


def _draw_frame(sheet: Axes, scale: Scale) -> None:
    """Rules at none, half and all, and what the height means."""
    start, end = scale.x([0, scale.until])
    for share in (0, 0.5, 1):
        y = float(scale.y(share))
        sheet.plot([start, end], [y, y], color=RULE, linewidth=1, zorder=0)
        sheet.text(start - 5, y + 4, f"{100 * share:.0f}\u00a0%", ha="right", color=MUTED)
    sheet.text(2, 11, "share resolved", color=MUTED)


def _mark_days(sheet: Axes, scale: Scale, curve: Curve, ticks: Sequence[int]) -> None:
    """Dots on the days under the frame; a day between two unknown ones, which no line reaches, shows its limits too."""
    unknown = np.isnan(np.pad(curve.least[: scale.until + 1], 1, constant_values=np.nan))
    for day in curve.list_days(scale.until):
        x, lonely = float(scale.x(day)), unknown[day] and unknown[day + 2]
        if lonely:
            limits = scale.y([curve.low[day], curve.high[day]])
            sheet.plot([x, x], limits, color=BAND, linewidth=5, solid_capstyle="butt", zorder=1)
        if lonely or day in ticks:
            sheet.plot(x, float(scale.y(curve.least[day])), "o", color=STRONG, markersize=4.5)


def _label_ends(sheet: Axes, scale: Scale, curve: Curve, whole: Curve | None) -> None:
    """The share reached, written where each line ends; labels too close to each other are moved apart."""
    labels = []
    for line, name, color, weight in ((curve, "", STRONG, "bold"), (whole, "all ", MUTED, "normal")):
        days = [] if line is None else line.list_days(scale.until)
        if len(days):
            share = line.least[days[-1]]
            percent = 100 if share == 1 else min(99, round(100 * share))  # not all are never said to be all
            style = {"color": color, "weight": weight, "size": 12}
            labels.append([float(scale.x(days[-1])) + 6, float(scale.y(share)), f"{name}{percent}\u00a0%", style])
    if len(labels) == 2 and abs(labels[0][1] - labels[1][1]) < LINE_HEIGHT:
        upper, lower = sorted(labels, key=lambda label: label[1])
        middle = (upper[1] + lower[1]) / 2
        upper[1], lower[1] = middle - LINE_HEIGHT / 2, middle + LINE_HEIGHT / 2
    for x, y, words, style in labels:
        sheet.text(x, y + 4, words, **style)


def _write_at_risk(sheet: Axes, scale: Scale, curve: Curve, ticks: Sequence[int]) -> None:
    """Days under the frame, and under them how many were still followed and not resolved."""
    top = scale.height - scale.bottom
    second = _place_at_risk(scale, curve, ticks)
    sheet.text(2, top + 34, "still followed, not resolved:", color=MUTED)
    for day in ticks:
        x = float(scale.x(day))
        sheet.plot([x, x], [top, top + 4], color=MUTED, linewidth=1)
        # day 0 reaches into the margin, so that it leaves room for the next
        ha, aside, words = ("right", 5, "day 0") if day == 0 else ("center", 0, str(day))
        sheet.text(x + aside, top + 17, words, ha=ha, color=MUTED)
        sheet.text(x + aside, top + 52 + SECOND_LINE * second[day], curve.at_risk.get(day, ""), ha=ha, color=INK)
