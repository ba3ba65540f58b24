"""Parts of a whole as bars, a row each."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib.style
import numpy as np

from pipeline.reports.figures.fillings import FILLINGS
from pipeline.reports.figures.sheet import (
    APART,
    INK,
    LINE_HEIGHT,
    RULE,
    STYLE,
    open_sheet,
    write_svg,
)

# pixels
ROW_HEIGHT = 32  # one bar with a label of one line
NUMBER_END, GAP = 48, 8  # where numbers end, if none is longer than six signs
DIGIT = 8.4  # width of a bold digit
FITS = 40  # letters of a label that fit on one line


@dataclass(frozen=True)
class Bar:
    """One part of a whole.

    Attributes
    ----------
    label, number
        What stands above it.
    start, length
        In the whole's unit; no length draws no bar.
    filling
        One of FILLINGS.
    """

    label: str
    number: str
    start: float
    length: float | None
    filling: str = "whole"


def draw_bars(
    bars: Sequence[Bar], *, total: float, key: str, title: str, description: str, width: int = 330
) -> str:
    """Parts of a whole as an `<svg>` element: a row each, its number and label above a bar at its
    place in `total`."""
    labels = [textwrap.wrap(bar.label, FITS) for bar in bars]
    heights = [ROW_HEIGHT + LINE_HEIGHT * (len(lines) - 1) for lines in labels]
    end = max([NUMBER_END, *(DIGIT * len(bar.number) for bar in bars)])
    label_start = end + GAP
    with matplotlib.style.context(STYLE):
        sheet = open_sheet(width, sum(heights))
        for bar, lines, foot in zip(bars, labels, np.cumsum(heights), strict=True):
            color = APART if bar.filling == "apart" else INK
            first = foot - ROW_HEIGHT - LINE_HEIGHT * (len(lines) - 1) + 13
            sheet.text(end, first, bar.number, ha="right", color=color, weight="bold", size=12)
            for number, line in enumerate(lines):
                sheet.text(label_start, first + LINE_HEIGHT * number, line, color=color, size=12)
            sheet.plot([label_start, width], [foot - 10.5] * 2, color=RULE, linewidth=1, zorder=0)
            if bar.length is not None:
                left, right = label_start + (width - label_start) / total * np.array(
                    [bar.start, bar.start + bar.length]
                )
                across = [left, max(right, left + 1)]  # a sliver stays visible
                sheet.fill_between(
                    across,
                    foot - 14,
                    foot - 7,
                    **FILLINGS[bar.filling].drawn,
                    gid=f"bar {bar.filling}",
                )
        return write_svg(sheet, key, title, description)
