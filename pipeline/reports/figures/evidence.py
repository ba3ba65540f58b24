"""The curve of the whole pool with what it rests on: when clinics tested, what the tests showed by
then, what is concluded, and what is known whatever became of all others."""

from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib.style
from matplotlib.axes import Axes

from pipeline.reports.figures.curves import (
    Curve,
    Scale,
    draw_bounds,
    draw_dots,
    draw_frame,
    draw_share,
    draw_upright,
)
from pipeline.reports.figures.sheet import (
    BAND,
    LINE_HEIGHT,
    MUTED,
    STRONG,
    STYLE,
    ZONE,
    open_sheet,
    write_svg,
)

# pixels
ROW = 62  # the first tests, above the frame
BAR = (22, 31)  # upper and lower edge of their bar
NEAR = 16  # marks nearer than this share a label
SWATCH = 18  # a mark of the legend, before its words
LEGEND = 14  # from the days under the frame to the legend


@dataclass(frozen=True)
class FirstTests:
    """The days by which a quarter, half and three quarters had been tested again; None where
    that is not given."""

    quarter: float | None = None
    half: float | None = None
    three_quarters: float | None = None

    def list_days(self) -> list[tuple[str, float]]:
        """The days that are given, with the part tested by then."""
        days = {"¼": self.quarter, "½": self.half, "¾": self.three_quarters}
        return [(part, day) for part, day in days.items() if day is not None]


def draw_evidence(
    curve: Curve,
    first: FirstTests,
    *,
    key: str,
    title: str,
    description: str,
    until: int,
    ticks: Sequence[int],
    legend: dict[str, str],
    size: tuple[int, int] = (340, 206),
) -> str:
    """Draw a curve with the first tests above it on the same days.

    Parameters
    ----------
    curve, first
        What is drawn.
    key
        Makes the names inside the element unique within a page.
    title, description
        What it is and shows, for those who do not see it.
    until
        The last day.
    ticks
        Days with a number below the frame.
    legend
        What marks mean: `curve`, `tests` and `bounds`.
    size
        Width and height of the curve alone, in pixels.

    Returns
    -------
    str
        An `<svg>` element.
    """
    quartiles = [(part, day) for part, day in first.list_days() if day <= until]
    top = ROW if quartiles else 0
    with matplotlib.style.context(STYLE):
        sheet = open_sheet(size[0], top + size[1] + LEGEND + LINE_HEIGHT * len(legend))
        scale = Scale(*size, until, top)
        _draw_first(sheet, scale, quartiles)
        draw_frame(sheet, scale, ticks)
        draw_bounds(sheet, scale, curve.bounds)
        draw_share(sheet, scale, curve)
        for line, (mark, words) in enumerate(legend.items(), 1):
            _explain(sheet, mark, words, top + size[1] + LINE_HEIGHT * line)
        return write_svg(sheet, key, title, description)


def _draw_first(sheet: Axes, scale: Scale, quartiles: list[tuple[str, float]]) -> None:
    """A bar over the days by which parts of all had their first test, each day with its part;
    parts that would stand in each other's way share a label."""
    if not quartiles:
        return
    parts = ", ".join(part for part, _ in quartiles)
    sheet.text(2, 11, f"{parts} of all treated had been tested again", color=MUTED)
    labels: list[tuple[float, str]] = []
    for part, day in quartiles:
        x = float(scale.x(day))
        sheet.plot([x, x], [BAR[0] - 3, BAR[1] + 3], color=STRONG, linewidth=2, gid="first")
        if labels and x - labels[-1][0] < NEAR:
            labels[-1] = labels[-1][0], f"{labels[-1][1]} {part}"
        else:
            labels.append((x, part))
    ends = scale.x([day for _, day in quartiles])
    sheet.fill_between([min(ends), max(ends)], *BAR, color=ZONE, linewidth=0)
    for x, words in labels:
        sheet.text(x, BAR[1] + 17, words, ha="center", color=STRONG)


def _explain(sheet: Axes, mark: str, words: str, foot: float) -> None:
    """One line of the legend: the mark, and what it means."""
    middle = foot - 4
    if mark == "curve":
        sheet.fill_between([2, 2 + SWATCH], middle - 5, middle + 5, color=BAND, linewidth=0)
        sheet.plot([2, 2 + SWATCH], [middle, middle], color=STRONG, linewidth=2.2)
    elif mark == "tests":
        draw_dots(sheet, [4, 11, 18], [middle] * 3)
    else:
        draw_upright(sheet, 2 + SWATCH / 2, middle + 5, middle - 5)
    sheet.text(2 + SWATCH + 6, foot, words, color=MUTED)
