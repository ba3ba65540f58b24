"""A figure with what it needs to stand alone: its finding as a title, a caption with size and unit,
and its numbers in words."""

from collections.abc import Callable, Iterator
from typing import Any

from pipeline.reports.readings import Reading
from pipeline.reports.wording import BLANK, begin_sentence, say_percent, show_share

TENTHS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
OPEN = 0.5  # common practice: a share with a wider 95 % interval is told by its ends only


def make_picture(
    draw: Callable[..., str],
    *given: Any,
    name: str,
    title: str,
    description: str,
    caption: str = "",
    **more: Any,
) -> dict:
    """Make a figure as the pages and the files show it.

    Parameters
    ----------
    draw
        A function of pipeline.reports.figures that gives an `<svg>` element.
    *given
        What it draws.
    name, title
        Of the figure.
    description
        Its numbers in words, for those who do not see it.
    caption
        What stands below it.
    **more
        What else `draw` asks for.

    Returns
    -------
    dict
        A figure of the template.
    """
    svg = draw(*given, key=name, title=title, description=description, **more)
    return {
        "name": name,
        "title": title,
        "caption": caption,
        "alt": f"{title}. {description}",
        "svg": svg,
    }


def list_pictures(content: Any) -> Iterator[dict]:
    """The figures within a report's content, in the order in which it shows them."""
    if isinstance(content, dict) and "svg" in content:
        yield content
    elif isinstance(content, dict | list | tuple):
        for part in content.values() if isinstance(content, dict) else content:
            yield from list_pictures(part)


def find_last_usable(shares: dict[int, Reading]) -> tuple[int, Reading] | None:
    """The last day with a share, and the share; None if no day has one."""
    return next(((day, share) for day, share in reversed(shares.items()) if share.usable), None)


def state_share(share: Reading, event: str) -> str:
    """'81 % (71 to 90) resolved by day 30'; only the interval where it is too wide for one
    number."""
    if is_open(share):
        low, high = share.ends
        return f"anywhere from {say_percent(low)} to {say_percent(high)} {event}"
    return f"{show_share(share)} {event}"


def headline_share(share: Reading, event: str) -> str:
    """'About eight in ten resolved by day 30: 81 % (71 to 90)', as much as the interval allows."""
    if is_open(share):
        return begin_sentence(f"{state_share(share, event)}: too uncertain for one number")
    return f"{_say_tenths(share.number)} {event}: {show_share(share)}"


def is_open(share: Reading) -> bool:
    """Whether the 95 % interval of a share is too wide for one number to stand for it."""
    return share.lower is not None and share.upper is not None and share.upper - share.lower > OPEN


def _say_tenths(share: float) -> str:
    """A share in words; never more than its tenth, and neither none nor all."""
    if share < 0.05:
        return f"Fewer than 5{BLANK}%"
    if share >= 0.95:
        return "More than nine in ten"
    return f"About {TENTHS[int(10 * share + 0.5) - 1]} in ten"
