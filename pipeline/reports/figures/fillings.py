"""How the parts of bars are filled: one filling has one meaning in every figure,
and can be told from the others without colour."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from pipeline.reports.figures.sheet import APART, GREY, INK, MUTED, STRONG, ZONE


@dataclass(frozen=True)
class Filling:
    """What a filling looks like in words, what it means, and how it is drawn."""

    look: str
    meaning: str
    drawn: dict[str, str | float] = field(default_factory=dict)


# looks are named so that they hold in a dark scheme, and in print without colour
FILLINGS = {
    "whole": Filling("Grey", "all who reach this point", {"facecolor": GREY, "linewidth": 0}),
    "negative": Filling("Strong", "tested negative", {"facecolor": STRONG, "linewidth": 0}),
    "between": Filling(
        "Faint",
        "turned negative between two tests",
        {"facecolor": ZONE, "edgecolor": STRONG, "linewidth": 0.6},
    ),
    "positive": Filling(
        "Crossed",
        "still positive",
        {"facecolor": "#fff", "edgecolor": INK, "linewidth": 0.8, "hatch": "xxxxxx"},
    ),
    "again": Filling(
        "Upright lines",
        "treated again",
        {"facecolor": "#fff", "edgecolor": STRONG, "linewidth": 1.2, "hatch": "||||"},
    ),
    "leaves": Filling(
        "Hollow",
        "nothing further known",
        {"facecolor": "#fff", "edgecolor": MUTED, "linewidth": 1.2},
    ),
    "apart": Filling(
        "Slanting lines",
        "probably not positional vertigo, kept apart",
        {"facecolor": "#fff", "edgecolor": APART, "linewidth": 1.2, "hatch": "//////"},
    ),
}


def say_fillings(names: Iterable[str]) -> str:
    """What the fillings of a figure mean, for its caption: 'Strong: tested negative.

    Hollow: nothing further known.'
    """
    return " ".join(f"{FILLINGS[name].look}: {FILLINGS[name].meaning}." for name in names)
