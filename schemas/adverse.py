"""Adverse events as they are told of together."""

from collections.abc import Mapping
from dataclasses import dataclass

from schemas import codes


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
