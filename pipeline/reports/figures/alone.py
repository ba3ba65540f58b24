"""A figure as a file of its own: its finding above it, what it shows below it, on white,
so that it can go into a slide."""

import textwrap
import xml.etree.ElementTree as ET

from pipeline.reports.figures.sheet import INK, MUTED, SVG

# pixels
WIDTH, MARGIN = 640, 28
# mean width of a letter of DejaVu Sans as a share of its size, with something to spare
LETTER, BOLD_LETTER = 0.6, 0.68
LEADING = 1.35  # from line to line, as a share of the size
TITLE, CAPTION = 21, 13.5
FAMILY = "'DejaVu Sans', Verdana, sans-serif"  # Verdana is as wide, where the first is not at hand


def stand_alone(figure: str, title: str, caption: str) -> str:
    """The `<svg>` element of a page as the text of an .svg file,
    with `title` and `caption` drawn and as words for those who do not see it."""
    inner = ET.fromstring(figure.replace("'DejaVu Sans'", FAMILY))
    description = inner.findtext(f"{{{SVG}}}desc") or ""
    for part in [part for part in inner if part.tag in (f"{{{SVG}}}title", f"{{{SVG}}}desc")]:
        inner.remove(part)
    for name in ("role", "aria-labelledby", "aria-describedby"):
        inner.attrib.pop(name, None)
    across = WIDTH - 2 * MARGIN
    high = across * float(inner.get("height", "")) / float(inner.get("width", ""))
    upper, title_end = _write_lines(
        title, MARGIN, TITLE, BOLD_LETTER, {"font-weight": "bold", "fill": INK}
    )
    lower, foot = _write_lines(
        caption, title_end + 12 + high + 10, CAPTION, LETTER, {"fill": MUTED}
    )
    inner.attrib |= {
        "x": f"{MARGIN}",
        "y": f"{title_end + 12:.1f}",
        "width": f"{across}",
        "height": f"{high:.1f}",
    }
    height = f"{foot + MARGIN:.0f}"
    size = {"width": f"{WIDTH}", "height": height, "viewBox": f"0 0 {WIDTH} {height}"}
    sheet = ET.Element(
        f"{{{SVG}}}svg",
        size | {"role": "img", "aria-labelledby": "title", "aria-describedby": "desc"},
    )
    for name, words in (("title", title), ("desc", f"{description} {caption}".strip())):
        ET.SubElement(sheet, f"{{{SVG}}}{name}", {"id": name}).text = words
    ET.SubElement(sheet, f"{{{SVG}}}rect", {"width": "100%", "height": "100%", "fill": "#ffffff"})
    sheet.extend([*upper, inner, *lower])
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(sheet, encoding="unicode")}\n'


def _write_lines(
    words: str, top: float, size: float, letter: float, look: dict[str, str]
) -> tuple[list[ET.Element], float]:
    """Lines of text from `top` on that fit across the sheet, and where they end."""
    lines = textwrap.wrap(words, int((WIDTH - 2 * MARGIN) / (letter * size)))
    parts = []
    for number, line in enumerate(lines):
        place = {
            "x": f"{MARGIN}",
            "y": f"{top + size + LEADING * size * number:.1f}",
            "font-size": f"{size}",
            "font-family": FAMILY,
        }
        part = ET.Element(f"{{{SVG}}}text", place | look)
        part.text = line
        parts.append(part)
    return parts, top + LEADING * size * len(lines)
