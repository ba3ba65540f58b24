"""The register of clean variants, slips and first files that are made by functions."""

from collections.abc import Callable

from tests.corpus.half import is_open

CLEAN: dict[str, tuple[str, Callable, bool, bool]] = {}
MESSY: dict[str, dict] = {}
FIRST: dict[str, dict] = {}


def clean(group: str, set_aside: bool = False):
    """Register a change of a clean delivery that leaves it clean;
    `set_aside` if it may cost rows."""

    def register(change: Callable):
        CLEAN[change.__name__] = (group, change, not is_open("clean", change.__name__), set_aside)
        return change

    return register


def messy(told: list[str], never: list[str] | None = None, episodes: int = 12, **more):
    """Register a slip: a change of a clean delivery of so many episodes, what must be told,
    and what never."""

    def register(change: Callable):
        is_held_out = not is_open("messy", change.__name__)
        MESSY[change.__name__] = {
            "change": change,
            "told": told,
            "never": never or [],
            "episodes": episodes,
            "held": is_held_out,
            **more,
        }
        return change

    return register


def first(told: list[str], never: list[str] | None = None, episodes: int = 40):
    """Register a whole first file, and everything that one run of the check must name."""

    def register(change: Callable):
        is_held_out = not is_open("first", change.__name__)
        FIRST[change.__name__] = {
            "change": change,
            "told": told,
            "never": never or [],
            "episodes": episodes,
            "held": is_held_out,
        }
        return change

    return register
