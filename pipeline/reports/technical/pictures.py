"""Small pictures that stand in a row of a table: dots with their limits on one scale.

The row's numbers are their words.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

WIDTH, HEIGHT, MARGIN = 220, 20, 14  # pixels; the margin holds half a number of the axis
STEPS = (1, 2, 2.5, 5, 10)
NOTHING = 1e-9  # values that lie within this of 0 are drawn at 0


@dataclass(frozen=True)
class Mark:
    """A dot at `value`, with a line from `lower` to `upper` where there are limits;
    `kind` is its class in the style."""

    value: float
    lower: float | None = None
    upper: float | None = None
    kind: str = "main"


@dataclass(frozen=True)
class Scale:
    """From `low` to `high`, with the places that get a number;
    `log` spaces equal ratios equally."""

    low: float
    high: float
    ticks: tuple[float, ...]
    log: bool = False

    def place(self, value: float) -> float:
        """Pixels from the left edge; what lies beyond an end stands at that end."""
        if self.log:
            share = math.log(max(value, self.low) / self.low) / math.log(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return round(MARGIN + (WIDTH - 2 * MARGIN) * min(1.0, max(0.0, share)), 1)


SHARES = Scale(0, 1, (0, 0.5, 1))


def choose_scale(marks: Iterable[Mark], *, log: bool = False) -> Scale:
    """A scale on which the finite values and limits fit; 0 belongs to it,
    or 1 where it is one of ratios."""
    values = [
        v
        for m in marks
        for v in (m.value, m.lower, m.upper)
        if v is not None and math.isfinite(v) and (v > 0 or not log)
    ]
    if log:
        reach = max([2.0, *values, *(1 / v for v in values)])
        most = next(h for h in (2, 3, 5, 10, 30, 100) if h >= reach or h == 100)
        return Scale(1 / most, most, (1 / most, 1, most), log=True)
    low, high = min([0.0, *values]), max([0.0, *values])
    if high - low < NOTHING:
        high = 1.0
    unit = 10 ** math.floor(math.log10((high - low) / 2))
    step = next(s for s in STEPS if s * unit * 2 >= (high - low) / 2) * unit * 2
    first, last = math.floor(low / step), math.ceil(high / step)
    return Scale(first * step, last * step, tuple(k * step for k in range(first, last + 1)))


def draw_marks(marks: Iterable[Mark], scale: Scale, reference: float | None = None) -> str:
    """The marks of one row as an `<svg>` element, the first one uppermost;
    hidden from those who hear the row's numbers instead."""
    marks = list(marks)
    drawn = [_draw_line("zero", scale.place(tick)) for tick in scale.ticks]
    if reference is not None:
        drawn.append(_draw_line("reference", scale.place(reference)))
    for number, mark in enumerate(marks):
        y = round(HEIGHT * (number + 1) / (len(marks) + 1), 1)
        if mark.lower is not None or mark.upper is not None:
            left = scale.place(scale.low if mark.lower is None else mark.lower)
            right = scale.place(scale.high if mark.upper is None else mark.upper)
            drawn.append(f'<path class="{mark.kind}" d="M{left} {y}H{right}"/>')
        drawn.append(
            f'<circle class="{mark.kind}" cx="{scale.place(mark.value)}" cy="{y}" r="3.2"/>'
        )
    return _wrap("".join(drawn), HEIGHT)


def draw_axis(scale: Scale) -> str:
    """The numbers of the scale, for the head of the column."""
    drawn = "".join(
        f'<text x="{scale.place(tick)}" y="12" text-anchor="middle">{tick:.3g}</text>'
        for tick in scale.ticks
    )
    return _wrap(drawn.replace("-", "−").replace("text−anchor", "text-anchor"), 16)


def _draw_line(kind: str, x: float) -> str:
    return f'<path class="{kind}" d="M{x} 0V{HEIGHT}"/>'


def _wrap(drawn: str, height: int) -> str:
    return (
        f'<svg class="marks" viewBox="0 0 {WIDTH} {height}" aria-hidden="true" '
        f'focusable="false">{drawn}</svg>'
    )
