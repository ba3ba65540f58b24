"""How the sets of a release divide each other.

A division is found, not declared, so that no analysis can forget it: a set is divided by the
variables that narrow others of the same name further.
"""

from collections.abc import Iterator, Mapping

from schemas.identities import FIXED, OVERLAPPING

ANY = "*"  # those of whom a variable is told
UNITED = "+"  # between values that are counted together
Sets = dict[str, set[frozenset]]


def list_divisions(
    name: str, sets: set[frozenset]
) -> Iterator[tuple[frozenset, list[frozenset], str]]:
    """List the sets of one name with those that divide them by the same further variables.

    Parameters
    ----------
    name
        Name of the sets, for a reader.
    sets
        What narrows each of them, pairs of variable and value.

    Yields
    ------
    tuple
        What narrows the whole, what narrows each of its parts, and what to call the division.
    """
    values = {narrowed: dict(sorted(narrowed)) for narrowed in sorted(sets, key=sorted)}
    for whole, fixed in values.items():
        divisions: dict[tuple, list[frozenset]] = {}
        for part, narrowing in values.items():
            further = tuple(sorted(variable for variable in narrowing if variable not in fixed))
            divides = further and not any(
                v in FIXED or v in OVERLAPPING or narrowing[v] == ANY for v in further
            )
            if divides and all(
                narrowing.get(variable) == value
                for variable, value in fixed.items()
                if value != ANY
            ):
                divisions.setdefault(further, []).append(part)
        for further, parts in divisions.items():
            yield whole, _drop_unions(parts, values, further), f"by {', '.join(further)}"
    yield from _list_recorded(values)


def _list_recorded(
    values: Mapping[frozenset, dict],
) -> Iterator[tuple[frozenset, list[frozenset], str]]:
    """Those of whom a variable is told, with its values, and with the whole of whom they are a
    part."""
    for recorded, narrowing in values.items():
        for variable in [variable for variable, value in narrowing.items() if value == ANY]:
            unnarrowed = frozenset(item for item in recorded if item[0] != variable)
            parts = [
                s
                for s, v in values.items()
                if s != recorded and s - {(variable, v.get(variable))} == unnarrowed
            ]
            parts = [part for part in parts if variable in values[part]]
            if parts:
                yield recorded, _drop_unions(parts, values, (variable,)), f"by {variable}"
            if unnarrowed in values:
                yield unnarrowed, [recorded], f"whose {variable} is told"


def _drop_unions(
    parts: list[frozenset], values: Mapping[frozenset, dict], further: tuple
) -> list[frozenset]:
    """The parts without those that count together values of which each has a part of its own."""
    alone = {values[part][further[0]] for part in parts} if len(further) == 1 else set()
    return [
        part
        for part in parts
        if not alone
        or UNITED not in (value := values[part][further[0]])
        or not set(value.split(UNITED)) <= alone
    ]
