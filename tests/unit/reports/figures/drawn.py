"""Curves to draw, and what is found in a drawing."""

import re
import xml.etree.ElementTree as ET

import numpy as np

from pipeline.reports.figures.curves import Curve, draw_curve
from pipeline.reports.figures.fillings import FILLINGS
from pipeline.reports.figures.strips import Strip

SVG = "{http://www.w3.org/2000/svg}"
UNTIL = 30


def make_curve(share, tests=None, known: tuple[Strip, ...] = (), bounds=None) -> Curve:
    share = np.array(share, float)
    tests = np.full(len(share), np.nan) if tests is None else np.asarray(tests, float)
    return Curve(share, share - 0.05, share + 0.05, tests, bounds or {}, known)


def draw(curve: Curve, reference: Curve | None = None, key: str = "k") -> ET.Element:
    words = {"title": "A < B & C", "description": "about 50 %"}
    return ET.fromstring(
        draw_curve(curve, key=key, until=UNTIL, ticks=(0, 7, 14, 30), reference=reference, **words)
    )


def find_points(root: ET.Element, mark: str) -> list[np.ndarray]:
    """The unbroken stretches of each line of a class, as points in pixels."""
    marked = [g for g in root.iter(f"{SVG}g") if g.get("class", "").split()[:1] == [mark]]
    paths = [p.get("d", "") for g in marked for p in g.iter(f"{SVG}path")]
    runs = [run for path in paths for run in path.split("M")[1:]]
    return [np.array(re.findall(r"-?[\d.]+", run), float).reshape(-1, 2) for run in runs]


def find_texts(root: ET.Element) -> dict[str, tuple[float, float]]:
    """Each text with its place."""
    places = {}
    for text in root.iter(f"{SVG}text"):
        transformed = re.search(r"translate\(([-\d.]+) ([-\d.]+)\)", text.get("transform", ""))
        x, y = transformed.groups() if transformed else (text.get("x"), text.get("y"))
        places[text.text] = (float(x), float(y))
    return places


RISING = 0.9 * (1 - np.exp(-np.arange(UNTIL + 1) / 8))


def make_strip(day: int, *counts: int | None, total: int = 0) -> Strip:
    parts = {
        f: (n, "–" if n is None else f"{n:,}") for f, n in zip(list(FILLINGS), counts, strict=False)
    }
    return Strip(f"day {day}", total or sum(n or 0 for n in counts), parts)
