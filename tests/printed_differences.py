"""Differences as a page prints them beside the numbers that they lie between."""

import re
from html.parser import HTMLParser

NUMBER = re.compile(r"[+−-]?\d+(?:\.\d+)?")


def read_number(cell: str) -> float | None:
    """The number with which a cell begins: '+0.4 (−4.9 to +5.7) days';
    none where it has a word instead. A mark of a rounded number may stand before it."""
    match = NUMBER.match(cell.removeprefix("≈"))
    return float(match.group().replace("−", "-")) if match else None


def read_rows(page: str) -> list[list[str]]:
    """The cells of each row of a table whose last column is headed 'Difference': first number,
    second number, difference."""
    reader = _Tables()
    reader.feed(page)
    return [
        cells for heads, cells in reader.rows if heads[-1:] == ["Difference"] and len(cells) == 3
    ]


def read_handicap(page: str) -> tuple[dict[int, int], dict[int, int]]:
    """The mean totals by day of the figure's text, and by day what the sentence says of how far
    they lie from that of day 0."""
    text = re.sub(r"\s", " ", page)
    means = re.findall(r"(?:Before treatment \(day |; Day )(\d+)\)? (\d+)", text)
    changes = re.findall(r"by day (\d+) it was (\d+) points? (lower|higher)", text)
    signed = {
        int(day): int(number) * (-1 if side == "lower" else 1) for day, number, side in changes
    }
    return {int(day): int(mean) for day, mean in means}, signed


class _Tables(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.rows: list[tuple[list[str], list[str]]] = []
        self.heads: list[str] = []
        self.cells: list[str] = []
        self.inside = ""

    def handle_starttag(self, tag: str, attrs: list) -> None:
        if tag == "table":
            self.heads = []
        elif tag == "tr":
            self.cells = []
        elif tag in ("td", "th"):
            self.inside = tag if tag == "td" or dict(attrs).get("scope") == "col" else ""
            if self.inside:
                (self.heads if tag == "th" else self.cells).append("")

    def handle_data(self, data: str) -> None:
        if self.inside:
            (self.heads if self.inside == "th" else self.cells)[-1] += data.strip()

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self.inside = ""
        elif tag == "tr" and self.cells:
            self.rows.append((list(self.heads), self.cells))
