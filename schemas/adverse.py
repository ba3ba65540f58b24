"""Adverse events as they are told of together."""

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

import pandas as pd

from schemas import codes
from schemas.columns import SEPARATOR


@dataclass(frozen=True)
class Event:
    """Codes of `treatments.adverse` that count as one, and what people call it."""

    words: str
    codes: frozenset[str]


EVENTS: Mapping[str, Event] = {
    "any": Event("any adverse event", frozenset(codes.ADVERSE) - {"none"}),
    "nausea": Event("nausea or vomiting", frozenset({"nausea", "vomiting"})),
    "faint": Event("fainting", frozenset({"faint"})),
    "pain": Event("pain of neck or back", frozenset({"neck_pain", "back_pain"})),
    "switch": Event("debris moved into another canal", frozenset({"canal_switch"})),
    "other": Event("another event", frozenset({"other"})),
}


def were_recorded(adverse: pd.Series, events: AbstractSet[str]) -> pd.Series:
    """Whether each cell of `treatments.adverse`, which may hold several codes, has one of these."""
    return adverse.str.split(SEPARATOR).map(lambda cell: not events.isdisjoint(cell)).astype(bool)
