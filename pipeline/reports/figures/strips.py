"""Strips: for each of a few days everybody once, divided into parts,
with the number of each part in a column under its filling."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.reports.figures.fillings import FILLINGS
from pipeline.reports.figures.sheet import INK, LINE_HEIGHT, MUTED, RULE

# pixels
ROW, BAR, HEAD = 17, 9, 18  # one day, the height of its bar, the line above all
DAY, GAP = 48, 6  # where bars begin, and between a day and its bar
DIGIT, BEFORE = 6.8, 10  # width of a digit, and what stands before a column
SHORTEST = 70  # of a bar beside its numbers; where they leave less, they stand below it
SWATCH = 13


@dataclass(frozen=True)
class Strip:
    """One day.

    Attributes
    ----------
    day
        In words.
    total
        How many there are in all.
    parts
        For each filling how many are in its part, None where that is hidden, and in words.
    """

    day: str
    total: int
    parts: dict[str, tuple[float | None, str]]


@dataclass(frozen=True)
class Columns:
    """Where the bars end, where the column of each filling does,
    and how far below its bar a number stands."""

    end: float
    ends: dict[str, float]
    below: int


def place_columns(strips: Sequence[Strip], width: float) -> Columns:
    """The columns of the strips on a sheet of some `width`: beside the bars,
    or below them where numbers are long."""
    fillings = list(strips[0].parts)
    widths = [
        DIGIT * max(2, *(len(strip.parts[f][1]) for strip in strips)) + BEFORE for f in fillings
    ]
    end, below = width - sum(widths), 0
    if end - DAY < SHORTEST:
        end, below, widths = width, LINE_HEIGHT, [(width - DAY) / len(fillings)] * len(fillings)
    ends = {f: width - sum(widths[k + 1 :]) for k, f in enumerate(fillings)}
    return Columns(end, ends, below)


def measure_strips(strips: Sequence[Strip], width: float, legend: dict[str, str]) -> float:
    """How high the strips are, with a line for each entry of `legend`."""
    if not strips:
        return 0
    words = 6 + LINE_HEIGHT * len(legend) if legend else 0
    return HEAD + (ROW + place_columns(strips, width).below) * len(strips) + words


def draw_strips(
    sheet: Any,
    strips: Sequence[Strip],
    top: float,
    width: float,
    title: str,
    legend: dict[str, str],
) -> None:
    """The strips on `sheet` from `top` on, across `width`; `legend` names fillings in words below
    them, where there is room for it.

    A hidden part takes no place, so that no bar's place tells it: what is left of the line is
    together in all hidden parts.
    """
    if not strips:
        return
    columns = place_columns(strips, width)
    sheet.text(2, top + 11, title, color=MUTED)
    for filling, end in columns.ends.items():
        _fill(sheet, end - SWATCH, end, top + 2, filling, "swatch")
    foot = top + HEAD
    for strip in strips:
        foot += ROW
        _draw_day(sheet, strip, foot, columns)
        foot += columns.below
    for filling, words in legend.items():
        foot += LINE_HEIGHT
        _fill(sheet, 2, 2 + SWATCH, foot - BAR + 2, filling, "swatch")
        sheet.text(2 + SWATCH + GAP, foot + 1, words, color=MUTED)


def _draw_day(sheet: Any, strip: Strip, foot: float, columns: Columns) -> None:
    """One day, its bar and its numbers."""
    sheet.text(DAY - GAP, foot - 4, strip.day, ha="right", color=MUTED)
    sheet.plot([DAY, columns.end], [foot - 8] * 2, color=RULE, linewidth=1, zorder=0)
    start = float(DAY)
    # rounded parts may be more together
    total = max(strip.total, sum(count or 0 for count, _ in strip.parts.values()))
    for filling, (count, words) in strip.parts.items():
        sheet.text(columns.ends[filling], foot - 4 + columns.below, words, ha="right", color=INK)
        if count:
            reach = start + (columns.end - DAY) * count / total
            _fill(sheet, start, reach, foot - 8 - BAR / 2, filling, "bar")
            start = reach


def _fill(sheet: Any, left: float, right: float, upper: float, filling: str, mark: str) -> None:
    sheet.fill_between(
        [left, right], upper, upper + BAR, **FILLINGS[filling].drawn, gid=f"{mark} {filling}"
    )
