"""Which values of the plan an analysis reads while it runs."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from schemas.criteria import Closed
from schemas.study import SITES, Config


@dataclass
class PlanRead:
    """The places of a plan that were read.

    Attributes
    ----------
    config
        The plan, which notes what is read of it.
    places
        Names on the way to each value that was read, as ("study", "curves", "days").
    """

    config: Config
    places: set[tuple[str, ...]] = field(default_factory=set)

    def group(self) -> dict[str, list[Any]]:
        """The values that were read, by their place in the plan's files, in its order.

        Entries of a list by name, such as maneuvers, are together under `*`.
        """
        values: dict[str, list[Any]] = {}
        for place, value in _walk(self.config, ()):
            if place in self.places:
                values.setdefault(_name(place), []).append(value)
        return values


def watch_plan(config: Config) -> PlanRead:
    """Have a plan note what is read of it.

    A copy with other values, as variations of an answer make, notes the places too.

    Parameters
    ----------
    config
        A plan that nobody else uses: it is changed for good.

    Returns
    -------
    PlanRead
        With the same plan.
    """
    read = PlanRead(config)
    by_model: dict[int, tuple[str, ...]] = {}
    by_kind: dict[type, set[tuple[str, ...]]] = {}
    models = dict(_list_models(config, ()))
    for place, model in models.items():
        by_model[id(model)] = place
        by_kind.setdefault(type(model), set()).add(place)
    watched = {kind: _watch(kind, read, by_model, places) for kind, places in by_kind.items()}
    for model in models.values():
        object.__setattr__(model, "__class__", watched[type(model)])
    return read


def _watch(
    kind: type[Closed],
    read: PlanRead,
    by_model: dict[int, tuple[str, ...]],
    places: set[tuple[str, ...]],
) -> type[Closed]:
    """The same kind of a part of the plan, which notes what is read of it."""
    names = frozenset(kind.model_fields)
    only = next(iter(places)) if len(places) == 1 else None

    def note(model: Closed, name: str) -> Any:
        if name in names:
            place = by_model.get(id(model), only)  # a copy stands where its only original does
            if place is not None:
                read.places.add((*place, name))
        return kind.__getattribute__(model, name)

    return type(kind.__name__, (kind,), {"__getattribute__": note, "__module__": kind.__module__})


def _list_models(value: Any, place: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Closed]]:
    """The parts of a plan, each with its place."""
    if isinstance(value, Closed):
        yield place, value
        for name in type(value).model_fields:
            yield from _list_models(value.__dict__[name], (*place, name))
    for name, entry in _list_entries(value):
        yield from _list_models(entry, (*place, f"*{name}"))


def _list_entries(value: Any) -> list[tuple[Any, Any]]:
    if isinstance(value, dict):
        return list(value.items())
    return list(enumerate(value)) if isinstance(value, tuple | list) else []


def _walk(value: Any, place: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
    """The values of a plan that have no parts of their own, each with its place."""
    if isinstance(value, Closed):
        for name in type(value).model_fields:
            yield from _walk(value.__dict__[name], (*place, name))
        return
    entries = [(name, entry) for name, entry in _list_entries(value) if _has_parts(entry)]
    for name, entry in entries:
        yield from _walk(entry, (*place, f"*{name}"))
    if not entries:
        yield place, value


def _has_parts(value: Any) -> bool:
    return isinstance(value, Closed) or any(_has_parts(e) for _, e in _list_entries(value))


def _name(place: tuple[str, ...]) -> str:
    """('study', 'curves', 'days') as 'study.yaml curves.days'."""
    part, *rest = ["*" if name.startswith("*") else name for name in place]
    file = f"{SITES}/*.yaml" if part == SITES else f"{part}.yaml"
    return " ".join([file, ".".join(rest)])
