"""Numbers with their intervals on one scale, a row each: shares, means, ratios."""

import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import matplotlib.style
import numpy as np
from matplotlib.axes import Axes

from pipeline.reports.figures.sheet import (
    BOLD,
    INK,
    LINE_HEIGHT,
    MUTED,
    RULE,
    STRONG,
    STYLE,
    open_sheet,
    write_svg,
)

# pixels
ROW_HEIGHT = 31  # one range with a label of one line
TOP, BOTTOM, SIDE = 4, 34, 20
COMPACT, HEADED = 18, 26  # one line of a compact figure, and what its heading takes
SCALE = (146, 126)  # of a compact figure: left and right of its scale
SHORT, ALONE = 23, 31  # letters of a label that fit left of the scale, and without one
FITS, BESIDE = 33, 16  # letters of a label that fit beside a number of so many signs


@dataclass(frozen=True)
class Kind:
    """What a mark looks like in words, what it means in every figure, and how it is drawn."""

    look: str
    meaning: str
    color: str
    marker: str
    hollow: bool = False


KINDS = {
    "own": Kind("Dot", "this pool", STRONG, "o"),
    "repeat": Kind("Filled square", "the same again", STRONG, "s"),
    "change": Kind("Hollow square", "another maneuver", MUTED, "s", hollow=True),
    "clear": Kind("Filled diamond", "a clear difference", STRONG, "D"),
    "unclear": Kind("Hollow diamond", "no clear difference", MUTED, "D", hollow=True),
    "printed": Kind("Hollow triangle", "published result of a trial", MUTED, "^", hollow=True),
}


def say_kinds(names: Iterable[str]) -> str:
    """What the marks of a figure mean, for its caption: 'Dot: this pool.

    Hollow triangle: published result of a trial.'
    """
    return " ".join(f"{KINDS[name].look}: {KINDS[name].meaning}." for name in names)


@dataclass(frozen=True)
class Range:
    """One number with its interval.

    Attributes
    ----------
    label, number
        What stands beside it.
    middle
        Where its mark is; None draws none.
    low, high
        Ends of its line; None draws none.
    kind
        One of KINDS.
    heading
        Begins a new part above the row.
    """

    label: str
    number: str
    middle: float | None
    low: float | None
    high: float | None
    kind: str = "own"
    heading: str = ""


def draw_ranges(
    ranges: Sequence[Range],
    *,
    span: tuple[float, float],
    ticks: dict[float, str],
    key: str,
    title: str,
    description: str,
    unit: str = "",
    reference: float | None = None,
    width: int = 340,
) -> str:
    """Draw intervals on one scale; one that leaves it ends in an arrow.

    Parameters
    ----------
    ranges
        A row each.
    span
        Ends of the scale.
    ticks
        What stands below which places.
    key
        Makes the names inside the element unique within a page.
    title, description
        What it is and shows, for those who do not see it.
    unit
        What stands under the ticks.
    reference
        Where a dotted line goes through all rows.
    width
        In pixels.

    Returns
    -------
    str
        An `<svg>` element.
    """
    labels = [
        textwrap.wrap(row.label, FITS - max(0, len(row.number) - BESIDE)) or [""] for row in ranges
    ]
    headings = [textwrap.wrap(row.heading, BOLD) for row in ranges]
    heights = [
        ROW_HEIGHT + LINE_HEIGHT * (len(lines) - 1 + len(above) + bool(above))
        for lines, above in zip(labels, headings, strict=True)
    ]
    foot = TOP + sum(heights)
    with matplotlib.style.context(STYLE):
        sheet = open_sheet(width, foot + BOTTOM)

        def place(value: float) -> float:
            return SIDE + (width - 2 * SIDE) * (value - span[0]) / (span[1] - span[0])

        for value, words in ticks.items():
            sheet.plot([place(value)] * 2, [TOP, foot], color=RULE, linewidth=1, zorder=0)
            sheet.text(place(value), foot + 14, words, ha="center", color=MUTED)
        if reference is not None:
            sheet.plot(
                [place(reference)] * 2,
                [TOP, foot],
                color=INK,
                linewidth=1,
                linestyle=(0, (1, 2)),
                zorder=1,
            )
        sheet.text(width / 2, foot + 29, unit, ha="center", color=MUTED)
        for row, lines, above, end in zip(
            ranges, labels, headings, TOP + np.cumsum(heights), strict=True
        ):
            top = end - ROW_HEIGHT - LINE_HEIGHT * (len(lines) - 1) + 13
            for number, words in enumerate(reversed(above), 1):
                y = top - LINE_HEIGHT * number - 4
                sheet.text(0, y, words, color=INK, weight="bold", size=12)
            for number, words in enumerate(lines):
                sheet.text(0, top + LINE_HEIGHT * number, words, color=INK, size=12)
            sheet.text(width, top, row.number, ha="right", color=INK, weight="bold", size=12)
            _draw_range(sheet, row, end - 9, place, span)
        return write_svg(sheet, key, title, description)


def draw_differences(
    ranges: Sequence[Range],
    *,
    reach: float,
    key: str,
    title: str,
    description: str,
    unit: str,
    width: int = 340,
) -> str:
    """Draw differences from 0, each on the line of its label, which leaves room for many.

    Parameters
    ----------
    ranges
        A row each; one without a middle has a label and a number only.
    reach
        The scale goes from -`reach` to `reach`.
    key
        Makes the names inside the element unique within a page.
    title, description
        What it is and shows, for those who do not see it.
    unit
        What stands under the scale.
    width
        In pixels.

    Returns
    -------
    str
        An `<svg>` element.
    """
    labels = [
        textwrap.wrap(row.label, SHORT if row.middle is not None else ALONE) for row in ranges
    ]
    headings = [textwrap.wrap(row.heading, BOLD) for row in ranges]
    heights = [
        LINE_HEIGHT * (len(lines) - 1 + max(0, len(above) - 1)) + COMPACT + (HEADED if above else 0)
        for lines, above in zip(labels, headings, strict=True)
    ]
    foot = TOP + sum(heights)
    left, right = SCALE[0], width - SCALE[1]
    span = (-reach, reach)

    def place(value: float) -> float:
        return left + (right - left) * (value + reach) / (2 * reach)

    with matplotlib.style.context(STYLE):
        sheet = open_sheet(width, foot + BOTTOM)
        for value, words in ((-reach, f"−{reach:g}"), (0.0, "0"), (reach, f"+{reach:g}")):
            sheet.text(place(value), foot + 14, words, ha="center", color=MUTED)
        sheet.text(width, foot + 29, unit, ha="right", color=MUTED)
        for row, lines, above, end in zip(
            ranges, labels, headings, TOP + np.cumsum(heights), strict=True
        ):
            top = end - COMPACT - LINE_HEIGHT * (len(lines) - 1) + 13
            for number, words in enumerate(reversed(above), 1):
                y = top - LINE_HEIGHT * number - 2
                sheet.text(0, y, words, color=INK, weight="bold", size=12)
            for number, words in enumerate(lines):
                sheet.text(0, top + LINE_HEIGHT * number, words, color=INK)
            sheet.text(width, top, row.number, ha="right", color=INK)
            if row.middle is not None:
                sheet.plot([place(0)] * 2, [top - 13, end], color=RULE, linewidth=1, zorder=0)
                _draw_range(sheet, row, top - 4, place, span)
        return write_svg(sheet, key, title, description)


def _draw_range(
    sheet: Axes,
    row: Range,
    y: float,
    place: Callable[[float], float],
    span: tuple[float, float],
) -> None:
    kind = KINDS[row.kind]
    if row.low is not None and row.high is not None:
        low, high = max(row.low, span[0]), min(row.high, span[1])
        sheet.plot(
            [place(low), place(high)],
            [y, y],
            color=kind.color,
            linewidth=2,
            gid=f"range {row.kind}",
        )
        for end, limit, arrow in ((low, row.low, "<"), (high, row.high, ">")):
            if end != limit:
                sheet.plot(place(end), y, arrow, color=kind.color, markersize=5)
    if row.middle is not None and span[0] <= row.middle <= span[1]:
        face = "#fff" if kind.hollow else kind.color
        look = {"color": kind.color, "markerfacecolor": face, "markersize": 7}
        sheet.plot(place(row.middle), y, kind.marker, gid=f"dot {row.kind}", **look)
