"""Parts of a whole as bars, a row each or all on one line."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib.style
import numpy as np

from pipeline.reports.figures.fillings import FILLINGS
from pipeline.reports.figures.sheet import (
    APART,
    BOLD,
    INK,
    LINE_HEIGHT,
    MUTED,
    RULE,
    STYLE,
    open_sheet,
    write_svg,
)

# pixels
ROW_HEIGHT = 28  # one bar with a label of one line
NUMBER_END, GAP = 48, 8  # where numbers end, if none is longer than six signs
DIGIT = 8.4  # width of a bold digit
FITS = 40  # letters of a label that fit on one line
# of a whole on one line: how thick it is, letters of a line of its words, from line to line
THICK, LINE, CLOSE = 12, 52, 13
BLANK = "\u00a0"  # keeps the mark between two parts at the end of a line


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
            sheet.plot([label_start, width], [foot - 7.5] * 2, color=RULE, linewidth=1, zorder=0)
            if bar.length is not None:
                left, right = label_start + (width - label_start) / total * np.array(
                    [bar.start, bar.start + bar.length]
                )
                across = [left, max(right, left + 1)]  # a sliver stays visible
                sheet.fill_between(
                    across,
                    foot - 11,
                    foot - 4,
                    **FILLINGS[bar.filling].drawn,
                    gid=f"bar {bar.filling}",
                )
        return write_svg(sheet, key, title, description)


@dataclass(frozen=True)
class Stack:
    """A whole in parts on one line.

    Attributes
    ----------
    heading, under
        What stands above it, in bold, and below that.
    total
        The whole.
    parts
        Of each part how many there are, None where that is hidden, its words and its filling.
    """

    heading: str
    under: str
    total: float
    parts: list[tuple[float | None, str, str]]


def draw_stacks(
    stacks: Sequence[Stack], *, key: str, title: str, description: str, width: int = 340
) -> str:
    """Wholes of the same length as an `<svg>` element, each with its parts in a row and their words
    below in the same order; a hidden part takes no place."""
    words = [textwrap.wrap(f"{BLANK}· ".join(said for _, said, _ in s.parts), LINE) for s in stacks]
    under = [textwrap.wrap(stack.under, LINE) for stack in stacks]
    headings = [textwrap.wrap(stack.heading, BOLD) or [""] for stack in stacks]
    lines = [len(a) + len(b) for a, b in zip(words, under, strict=True)]
    heights = [
        18 + LINE_HEIGHT * (len(above) - 1) + THICK + 6 + CLOSE * count + 10
        for above, count in zip(headings, lines, strict=True)
    ]
    with matplotlib.style.context(STYLE):
        sheet = open_sheet(width, sum(heights))
        for stack, heading, said, above, foot, height in zip(
            stacks, headings, words, under, np.cumsum(heights), heights, strict=True
        ):
            y = foot - height + 13 - LINE_HEIGHT
            for line in heading:
                y += LINE_HEIGHT
                sheet.text(0, y, line, color=INK, weight="bold", size=12)
            for line in above:
                y += CLOSE
                sheet.text(0, y, line, color=MUTED)
            y += 6
            sheet.plot([0, width], [y + THICK] * 2, color=RULE, linewidth=1, zorder=0)
            start = 0.0
            # rounded parts may be more together
            total = max(stack.total, sum(count or 0 for count, _, _ in stack.parts))
            for count, _, filling in stack.parts:
                if count:
                    reach = start + width * count / total
                    look = FILLINGS[filling].drawn
                    sheet.fill_between([start, reach], y, y + THICK, **look, gid=f"bar {filling}")
                    start = reach
            y += THICK
            for line in said:
                y += CLOSE
                sheet.text(0, y, line, color=INK)
        return write_svg(sheet, key, title, description)
