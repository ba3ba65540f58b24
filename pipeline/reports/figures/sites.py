"""Sites beside their mean, none named: a funnel of their ratios against how much is known of each,
and a forest of the ratios with their intervals."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib.style
import numpy as np
from matplotlib.axes import Axes

from pipeline.reports.figures.sheet import (
    BAND,
    INK,
    MUTED,
    RULE,
    STRONG,
    STYLE,
    open_sheet,
    write_svg,
)

# two-sided quantiles of the normal distribution
INNER, OUTER = 1.959964, 3.090232  # 95 %, 99.8 %
TICKS = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.4, 2.0, 3.0, 5.0, 10.0)
# pixels
LEFT, RIGHT, TOP, BOTTOM = 34, 44, 24, 40
ROW = 19  # one site of a forest
NUMBER = 128  # the column of numbers of a forest
EDGE = 16  # half a number below the scale
APART = 24  # between the sites and a further one, for its heading


@dataclass(frozen=True)
class SiteRatio:
    """The ratio of a site to the mean of the sites, with 95 % limits; all above 0."""

    ratio: float
    low: float
    high: float

    @property
    def error(self) -> float:
        """The standard error of its logarithm."""
        return math.log(self.high / self.low) / (2 * INNER)


def draw_funnel(
    sites: Sequence[SiteRatio],
    *,
    key: str,
    title: str,
    description: str,
    size: tuple[int, int],
) -> str:
    """The ratios on a scale of logarithms, further right the more is known of a site, as an
    `<svg>` element; with the limits around 1 that 95 and 99.8 % of equal sites keep."""
    width, height = size
    known = np.array([1 / site.error for site in sites])
    start, end = 0.85 * known.min(), 1.05 * known.max()
    reach = max(OUTER / start, *(abs(math.log(site.ratio)) for site in sites)) * 1.03

    def place(precision: np.ndarray) -> np.ndarray:
        return LEFT + (width - LEFT - RIGHT) * (precision - start) / (end - start)

    def rise(log_ratio: np.ndarray | float) -> np.ndarray:
        return TOP + (height - TOP - BOTTOM) * (1 - np.asarray(log_ratio) / reach) / 2

    with matplotlib.style.context(STYLE):
        sheet = open_sheet(width, height)
        precision = np.linspace(start, end, 60)
        x = place(precision)
        sheet.fill_between(
            x, rise(-INNER / precision), rise(INNER / precision), color=BAND, linewidth=0
        )
        for sign in (-1, 1):
            strict = {"color": INK, "linewidth": 1.1, "linestyle": (0, (4, 2.5))}
            sheet.plot(x, rise(sign * OUTER / precision), gid="limit outer", **strict)
            sheet.plot(
                x, rise(sign * INNER / precision), color=MUTED, linewidth=0.9, gid="limit inner"
            )
        for limit, words in ((INNER, "95\u00a0%"), (OUTER, "99.8\u00a0%")):
            sheet.text(x[-1] + 4, float(rise(limit / end)) + 4, words, color=MUTED, size=10)
        for tick in TICKS:
            if abs(math.log(tick)) <= reach:
                y = float(rise(math.log(tick)))
                look = {"color": INK, "linewidth": 1} if tick == 1 else {"color": RULE}
                sheet.plot([LEFT, x[-1]], [y, y], zorder=0.5 if tick != 1 else 1.5, **look)
                sheet.text(LEFT - 5, y + 4, f"{tick:g}", ha="right", color=MUTED)
        for site in sorted(sites, key=lambda site: (site.error, site.ratio)):
            _draw_dot(sheet, float(place(1 / site.error)), float(rise(math.log(site.ratio))))
        sheet.text(2, 11, "times as fast as the mean", color=MUTED)
        foot = height - BOTTOM + 20
        sheet.text(LEFT, foot, "less is known", color=MUTED)
        sheet.text(x[-1], foot, "more is known", ha="right", color=MUTED)
        return write_svg(sheet, key, title, description)


def draw_forest(
    sites: Sequence[SiteRatio],
    further: SiteRatio | None,
    *,
    key: str,
    title: str,
    description: str,
    width: int = 460,
) -> str:
    """The ratios with their intervals as an `<svg>` element, a row each from the least to the
    greatest, on a scale of logarithms; below them the prediction interval of a further site."""
    rows = sorted(sites, key=lambda site: (site.ratio, site.low))
    every = [*rows, *([further] if further else [])]
    ends = [abs(math.log(end)) for row in every for end in (row.low, row.high)]
    reach, right = 1.03 * max(*ends, math.log(TICKS[6])), width - NUMBER
    foot = TOP + ROW * len(every) + (APART if further else 0)

    def place(ratio: float) -> float:
        return EDGE + (right - 2 * EDGE) * (math.log(ratio) / reach + 1) / 2

    with matplotlib.style.context(STYLE):
        sheet = open_sheet(width, foot + BOTTOM)
        for tick in TICKS:
            if abs(math.log(tick)) <= reach:
                look = {"color": INK, "linestyle": (0, (1, 2))} if tick == 1 else {"color": RULE}
                sheet.plot([place(tick)] * 2, [TOP, foot], linewidth=1, zorder=0, **look)
                sheet.text(place(tick), foot + 14, f"{tick:g}", ha="center", color=MUTED)
        sheet.text(right / 2, foot + 30, "times as fast as the mean", ha="center", color=MUTED)
        sheet.text(width, 11, "ratio (95\u00a0% CI)", ha="right", color=MUTED)
        for number, row in enumerate(every):
            is_further = further is not None and number == len(rows)
            y = TOP + ROW * (number + 0.5) + (APART if is_further else 0)
            line = {"color": INK, "linewidth": 5} if is_further else {"color": STRONG}
            sheet.plot(
                [place(row.low), place(row.high)],
                [y, y],
                solid_capstyle="butt",
                gid="range further" if is_further else "range own",
                **{"linewidth": 1.8} | line,
            )
            if is_further:
                sheet.plot([EDGE, width], [y - ROW / 2 - APART + 5] * 2, color=RULE, linewidth=1)
                sheet.text(width, y - ROW / 2 - 4, "a further site", ha="right", color=MUTED)
                # white in the thick line, so that it is seen in grey
                sheet.plot(place(row.ratio), y, "|", color="#fff", markersize=6)
            else:
                _draw_dot(sheet, place(row.ratio), y)
            words = f"{row.ratio:.2f} ({row.low:.2f} to {row.high:.2f})"
            sheet.text(width, y + 4, words, ha="right", color=INK)
        return write_svg(sheet, key, title, description)


def _draw_dot(sheet: Axes, x: float, y: float) -> None:
    """A site; the white ring tells dots apart that lie on each other."""
    look = {"color": STRONG, "markersize": 7.5, "markeredgecolor": "#fff", "markeredgewidth": 0.8}
    sheet.plot(x, y, "o", zorder=3, gid="dot site", **look)
