"""What marks tell: bars, gaps between bars, days on which a curve is drawn,
and places finer than the printed numbers."""

import itertools
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from tests.attack.released import Release, Row

SVG, LINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}href"
POINT = re.compile(r"(-?\d+\.?\d*)[ ,](-?\d+\.?\d*)")
SMALL = 10
WHOLE = 0.04  # a bar this close to a whole number of people is taken for it


@dataclass(frozen=True)
class Mark:
    """A mark of a class (bar, dot, range, curve, whole) and where it is drawn."""

    kind: str
    points: tuple[tuple[float, float], ...]

    @property
    def left(self) -> float:
        return min(x for x, _ in self.points)

    @property
    def right(self) -> float:
        return max(x for x, _ in self.points)


def search_figures(release: Release) -> Iterator[str]:
    """What was found in the figures of a release, each as a sentence."""
    curves: dict[str, list[Row]] = defaultdict(list)
    for row in release.among("joint_resolution"):
        if row.endpoint == "objective":
            curves[f"curve-{re.sub(r'[=,]', '-', row.stratum)}.svg"].append(row)
    for path in sorted((release.folder / "reports").rglob("*.svg")):
        root = ElementTree.fromstring(path.read_text("utf-8"))
        marks = list(list_marks(root))
        words = " ".join(element.text or "" for element in root.iter(f"{SVG}desc"))
        sentences = itertools.chain(
            read_bars([mark for mark in marks if mark.kind == "bar"], words)
            if path.name.startswith(("flow", "path"))
            else (),
            read_curve(marks, curves[path.name]),
            read_places(marks, path, release),
        )
        yield from (f"{path.name}: {sentence}" for sentence in sentences)


def list_marks(root: ElementTree.Element) -> Iterator[Mark]:
    """The marks of a figure with the places at which they are drawn."""
    shapes = {
        element.get("id"): element.get("d", "")
        for element in root.iter(f"{SVG}path")
        if element.get("id")
    }
    for group in root.iter(f"{SVG}g"):
        kind = group.get("class")
        if not kind:
            continue
        for element in group.iter():
            if element.tag == f"{SVG}path" and element.get("id") is None:
                for line in element.get("d", "").split("M")[1:]:  # a line with gaps is several
                    yield Mark(kind, _read_points(line, 0, 0))
            elif element.tag == f"{SVG}use":
                shift = (float(element.get(axis, 0)) for axis in ("x", "y"))
                yield Mark(
                    kind, _read_points(shapes.get((element.get(LINK) or "#")[1:], ""), *shift)
                )
            elif element.tag == f"{SVG}rect":
                x, y, width = (float(element.get(name, 0)) for name in ("x", "y", "width"))
                yield Mark(kind, ((x, y), (x + width, y)))


def _read_points(path: str, x: float, y: float) -> tuple[tuple[float, float], ...]:
    return tuple((float(a) + x, float(b) + y) for a, b in POINT.findall(path)) or ((x, y),)


def read_bars(bars: list[Mark], words: str) -> Iterator[str]:
    """Bars, and gaps between bars, as numbers of people: the widest bar is the greatest number in
    the words."""
    printed = {int(number.replace(",", "")) for number in re.findall(r"\d[\d,]*", words)}
    if not bars or not printed:
        return
    scale = max(printed) / max(bar.right - bar.left for bar in bars)
    yield from (
        f"a bar of {n} people that the words hide"
        for n in _small(scale * (b.right - b.left) for b in bars)
        if n not in printed
    )
    ends = sorted({round(end, 3) for bar in bars for end in (bar.left, bar.right)})
    gaps = (scale * (later - end) for end, later in itertools.pairwise(ends))
    covered = {round(scale * (bar.right - bar.left)) for bar in bars}
    yield from (
        f"a gap of {n} people between two bars" for n in _small(gaps) if n not in printed | covered
    )


def _small(sizes: Iterator[float]) -> list[int]:
    return [
        round(size)
        for size in sizes
        if 1 - WHOLE <= size <= SMALL + WHOLE and abs(size - round(size)) <= WHOLE
    ]


def read_curve(marks: list[Mark], rows: list[Row]) -> Iterator[str]:
    """Days on which a curve is drawn although the table has no number for them; it begins on day 0,
    and bends on whole days."""
    curves = [mark for mark in marks if mark.kind == "curve"]
    places = sorted({x for mark in curves for x, _ in mark.points})
    if len(places) < 2 or not rows:
        return
    usable = {row.term for row in rows if row.status == "ok"}
    a_day = min(later - place for place, later in itertools.pairwise(places))
    for mark in curves:
        first, last = (round((end - places[0]) / a_day) for end in (mark.left, mark.right))
        # a share is drawn from its day to the next; on day 0 it is none by definition
        for day in range(max(first, 1), last):
            if not {f"resolved_by_day_{day}", f"unresolved_upper_day_{day}"} & usable:
                yield f"the curve is drawn on day {day}, for which the table has no number"


def read_places(marks: list[Mark], path: Path, release: Release) -> Iterator[str]:
    """Marks of single sites at places that their rounded numbers do not give."""
    if path.name != "sites.svg":
        return
    printed = [value for row in release.among("site_pooling") for value in row.values.values()]
    for mark in marks:
        lone = mark.kind == "range" and len(mark.points) == 2
        ends = [(mark.left - 20) / 300, (mark.right - 20) / 300] if lone else []
        if any(
            0 <= end <= 1
            and not any(value.low - 1e-6 <= end <= value.high + 1e-6 for value in printed)
            for end in ends
        ):
            yield "a mark of a site lies where none of its printed numbers is"
