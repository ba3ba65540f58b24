"""One section of the report beside the curves: a finding, sentences, at most one figure,
and why numbers are missing."""

from collections.abc import Sequence

from pipeline.reports.committee.picture import make_picture
from pipeline.reports.figures.ranges import Range, draw_ranges
from pipeline.reports.readings import Reading
from pipeline.reports.wording import BLANK, agree, count_words, mark_missing, show_share

PERCENT = {
    "span": (0.0, 1.0),
    "ticks": {0.0: f"0{BLANK}%", 0.5: f"50{BLANK}%", 1.0: f"100{BLANK}%"},
}


def make_section(
    key: str,
    title: str,
    sentences: Sequence[str],
    *,
    finding: str = "",
    figure: dict | None = None,
    caption: str = "",
    notes: Sequence[str] = (),
    panels: Sequence[dict] = (),
    table: dict | None = None,
) -> dict:
    """Make a section of the report.

    Parameters
    ----------
    key, title
        Name within the page, and heading.
    sentences
        What it says; empty ones are left out.
    finding
        What it has found, in one sentence.
    figure
        By picture.make_picture.
    caption
        That of the `panels`.
    notes
        What to keep in mind.
    panels
        Rows of small figures.
    table
        {first, columns, groups, note}; a group is {heading, rows}, a row is {name, cells}.

    Returns
    -------
    dict
        What the template's part for a section shows.
    """
    return {
        "key": key,
        "title": title,
        "finding": finding,
        "sentences": [sentence for sentence in sentences if sentence],
        "figure": figure,
        "caption": caption,
        "notes": [note for note in notes if note],
        "panels": list(panels),
        "table": table,
    }


def make_range(label: str, reading: Reading, *, kind: str = "own", heading: str = "") -> Range:
    """A share as a row of a figure; without a usable number it says so in one word."""
    usable = reading.usable
    return Range(
        label,
        show_share(reading) if usable else mark_missing(reading),
        reading.estimate if usable else None,
        reading.lower if usable else None,
        reading.upper if usable else None,
        kind,
        heading,
    )


def draw_shares(ranges: Sequence[Range], *, name: str, title: str, unit: str, caption: str) -> dict:
    """Shares with their intervals as a picture, told by its own rows."""
    description = "; ".join(
        f"{row.heading + ': ' if row.heading else ''}{row.label} {row.number}" for row in ranges
    )
    description = f"{description}. In brackets: 95 % confidence intervals."
    return make_picture(
        draw_ranges,
        ranges,
        name=name,
        title=title,
        description=description,
        caption=caption,
        unit=unit,
        **PERCENT,
    )


def say_sites(reading: Reading) -> str:
    """' from 9 sites', or nothing where it is not told."""
    return "" if reading.n_sites is None else f" from {count_words(reading.n_sites, 'site')}"


def say_points(difference: float) -> str:
    """A difference of shares in percentage points, as '4 percentage points'."""
    points = round(abs(100 * difference))
    return (
        f"{points}{BLANK}percentage {agree(points, 'point', 'points')}"
        if points
        else "less than 1 percentage point"
    )
