"""The sheet that every figure is drawn on, its colours, and how it becomes an `<svg>` element."""

import io
import re
import xml.etree.ElementTree as ET

from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

INK, MUTED, RULE = "#1e2a35", "#56616c", "#d5dbe0"
STRONG, ZONE, BAND = "#1f4f78", "#8fb0cc", "#dde7f0"
APART, GREY = "#8f4a12", "#6f7a84"
STYLE = [
    "default",
    {
        "svg.hashsalt": "figures",
        "svg.fonttype": "none",
        "font.family": "DejaVu Sans",
        "font.size": 11,
    },
]
MARKS = (
    "curve",
    "whole",
    "tests",
    "bounds",
    "first",
    "bar",
    "swatch",
    "range",
    "dot",
    "limit",
)  # classes of the parts that carry numbers; a second one may follow
SVG, XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
LINK = f"{{{XLINK}}}href"
# a style inside one figure would hold for the whole page
LEFT_BEHIND = {f"{{{SVG}}}metadata", f"{{{SVG}}}style"}
LINE_HEIGHT = 15  # pixels: of labels, and the least distance between two
BOLD = 44  # letters of a heading of 340 pixels that fit on a line


def open_sheet(width: float, height: float) -> Axes:
    """An empty sheet whose coordinates are pixels from the upper left corner."""
    figure = Figure(figsize=(width / 72, height / 72), dpi=72, facecolor="none")
    FigureCanvasSVG(figure)
    sheet = figure.add_axes((0, 0, 1, 1))
    sheet.set(xlim=(0, width), ylim=(height, 0))
    sheet.set_axis_off()
    return sheet


def write_svg(sheet: Axes, key: str, title: str, description: str) -> str:
    """The sheet as an `<svg>` element to stand in a page, named for those who do not see it."""
    drawn = io.StringIO()
    sheet.figure.savefig(drawn, format="svg", metadata={"Date": None}, transparent=True)
    ET.register_namespace("", SVG)
    ET.register_namespace("xlink", XLINK)
    root = ET.fromstring(drawn.getvalue())
    for parent in list(root.iter()):
        for child in [part for part in parent if part.tag in LEFT_BEHIND]:
            parent.remove(child)
    _rename_parts(root, key)
    for name, words in (("desc", description), ("title", title)):
        part = ET.Element(f"{{{SVG}}}{name}", {"id": f"{key}-{name}"})
        part.text = words
        root.insert(0, part)
    for side in ("width", "height"):
        root.set(side, root.get(side, "").removesuffix("pt"))
    root.attrib |= {
        "role": "img",
        "aria-labelledby": f"{key}-title",
        "aria-describedby": f"{key}-desc",
    }
    return ET.tostring(root, encoding="unicode")


def _rename_parts(root: ET.Element, key: str) -> None:
    """Lead every name that something refers to by `key`, and drop the others;
    our own marks become classes."""
    used = set()
    for part in root.iter():
        for name, value in part.attrib.items():
            if name == LINK:
                used.add(value.removeprefix("#"))
                part.set(name, f"#{key}-{value.removeprefix('#')}")
            elif "url(#" in value:
                used |= set(re.findall(r"url\(#([^)]+)\)", value))
                part.set(name, value.replace("url(#", f"url(#{key}-"))
    for part in root.iter():
        old = part.attrib.pop("id", None)
        if old in used:
            part.set("id", f"{key}-{old}")
        elif old and old.split()[0] in MARKS:
            part.set("class", old)
