"""The equations between the cells of a release: declared sums, sets within sets,
and every division of a set that its rows show. What the parts leave over is a cell of its own,
unless it is nobody.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from itertools import pairwise
from string import Formatter

import numpy as np

from pipeline.disclosure.cells import Cells, Complement
from pipeline.disclosure.divisions import Sets, list_divisions
from pipeline.disclosure.people import Group
from schemas.identities import (
    CHAINS,
    DIVIDED,
    ENDS,
    PATH,
    SUMS,
    WITHIN,
    Chain,
    Within,
)
from schemas.strata import THEN, TOGETHER

ALIKE, FIRST = "alike ", "treated"


def add_equations(cells: Cells, min_cell: int) -> None:
    """Relate the cells to each other; parts of a sum that are few together are a cell too, of which
    fewer than `min_cell` may not be told."""
    sets: Sets = {}
    for key in cells.keys:
        if isinstance(key, Group):
            sets.setdefault(key.name, set()).add(key.narrowed)
    for whole in list(sets):
        for narrowed, parts, description in list_divisions(whole, sets[whole]):
            members = [Group(whole, part) for part in parts]
            _relate(cells, Group(whole, narrowed), members, description)
            _put_together(cells, Group(whole, narrowed), members, description, min_cell)
    for declared in SUMS:
        for narrowed in sorted(sets.get(declared.whole, ()), key=sorted):
            members = [Group(part, narrowed) for part in declared.parts]
            if any(member in cells.place for member in members):
                _relate(
                    cells,
                    Group(declared.whole, narrowed),
                    members,
                    f"parts of “{declared.whole}”",
                    complete=True,
                )
    for whole, known_parts in DIVIDED.items():
        days = {
            (narrowed - {item}, item)
            for part in known_parts
            for narrowed in sets.get(part, ())
            for item in narrowed
            if item[0] == "day"
        }
        for narrowed, day in sorted(days, key=lambda each: (sorted(each[0]), each[1])):
            if narrowed in sets.get(whole, ()):
                known = [Group(part, narrowed | {day}) for part in known_parts]
                _relate(cells, Group(whole, narrowed), known, f"what is known on day {day[1]}")
    for inner, outer in [*_list_within(sets), *_list_chains(sets)]:
        _contain(cells, outer, inner)
    _follow_paths(cells, sets)
    _start_paths(cells, sets)
    _agree(cells, sets)


def _relate(
    cells: Cells, whole: Group, parts: list[Group], description: str, *, complete: bool = False
) -> None:
    """Say that the parts add up to the whole, with the rest that they leave;
    of a `complete` sum a part without a row is what is left."""
    missing = [part for part in parts if part not in cells.place]
    numbers = [cells.add(part) for part in parts]
    number = cells.add(whole)
    _infer(cells, number, numbers)
    left = cells.values[number] - sum(cells.values[part] for part in numbers)
    if not complete and not missing and left != 0:
        if left < 0:
            return  # not what is declared, in this pool
        numbers.append(cells.add(Complement(whole, description), left))
        _infer(cells, number, numbers)
    cells.relate(number, numbers, f"{whole.say()}: {description}")


def _put_together(
    cells: Cells, whole: Group, parts: list[Group], description: str, min_cell: int
) -> None:
    """Make a cell of the small parts of a sum where they are few together too: whoever takes the
    others from the whole, each known only within bounds, counts them. A part of nobody is one of
    them, since nobody else knows that it is."""
    numbers = [
        cells.place[part]
        for part in [*parts, Complement(whole, description)]
        if part in cells.place
    ]
    small = [n for n in numbers if 0 <= cells.values[n] < min_cell]
    together = sum(cells.values[n] for n in small)
    if len(small) > 1 and 0 < together < min_cell:
        rest = Complement(whole, f"the larger parts {description}")
        owned = np.sum([cells.owned[n] for n in small], axis=0)
        number = cells.add(rest, together, owned)
        cells.relate(number, small, f"{rest.say()}: its small parts")
        larger = [n for n in numbers if n not in small]
        number_of_all = cells.place[whole]
        if sum(cells.values[n] for n in numbers) == cells.values[number_of_all]:
            cells.relate(number_of_all, [*larger, number], f"{whole.say()}: {description}")


def _infer(cells: Cells, whole: int, parts: list[int]) -> None:
    """The value, and the people of each site, of the one member of a sum of which they are not
    known."""
    members = [(whole, -1), *((part, 1) for part in parts)]
    for n, sign in members:
        others = [(m, s) for m, s in members if m != n]
        if np.isnan(cells.values[n]):
            cells.values[n] = -sign * sum(s * cells.values[m] for m, s in others)
        if np.isnan(cells.owned[n]).any():
            cells.owned[n] = -sign * sum(s * cells.owned[m] for m, s in others)


def _contain(cells: Cells, outer: Group, inner: Group) -> None:
    """Say that one set is within another; what is left is a cell of its own,
    unless it is nobody."""
    whole, part = cells.place[outer], cells.place[inner]
    left = cells.values[whole] - cells.values[part]
    if left < 0:
        return
    if left == 0:
        cells.relate(whole, [part], f"{inner.say()} are all of {outer.say()}")
        return
    complement = cells.add(
        Complement(outer, inner.say()), left, cells.owned[whole] - cells.owned[part]
    )
    cells.relate(whole, [part, complement], f"{inner.say()} are among {outer.say()}")


def _list_within(sets: Sets) -> Iterator[tuple[Group, Group]]:
    """Each set with those that hold it: with the same that narrows it in all names above its own,
    and as declared otherwise."""
    for name in list(sets):
        for above in sorted(find_above(name)):
            for narrowed in sorted(sets[name] & sets.get(above, set()), key=sorted):
                yield Group(name, narrowed), Group(above, narrowed)
    for declared in WITHIN:
        for narrowed in sorted(sets.get(declared.inner, ()), key=sorted):
            if not _names_all(declared, dict(narrowed)):
                continue
            outer = {v: value for v, value in narrowed if v not in declared.loses}
            outer |= {v: value.format_map(dict(narrowed)) for v, value in declared.gains.items()}
            outside = frozenset(outer.items())
            if outside != narrowed and outside in sets.get(declared.outer, ()):
                yield Group(declared.inner, narrowed), Group(declared.outer, outside)


def _names_all(declared: Within, narrowed: Mapping[str, str]) -> bool:
    """Whether what narrows a set has all variables that the values of `gains` name."""
    named = {
        variable
        for value in declared.gains.values()
        for _, variable, _, _ in Formatter().parse(value)
        if variable
    }
    return named <= narrowed.keys()


@cache
def find_above(name: str) -> frozenset[str]:
    """The names whose sets hold those of a name, however many steps above."""
    direct = {declared.whole for declared in SUMS if name in declared.parts}
    direct |= {
        declared.outer for declared in WITHIN if name == declared.inner and declared.outer != name
    }
    return frozenset(direct.union(*(find_above(each) for each in direct)))


def _list_chains(sets: Sets) -> Iterator[tuple[Group, Group]]:
    for chain in CHAINS:
        links: dict[frozenset, list[tuple[int, frozenset]]] = {}
        for narrowed in sorted(sets.get(chain.name, ()), key=sorted):
            variables = dict(narrowed)
            if chain.variable in variables and _belongs(variables, chain):
                value = variables[chain.variable]
                step = (
                    chain.order.index(value)
                    if chain.order
                    else -int(value)
                    if chain.rises
                    else int(value)
                )
                links.setdefault(narrowed - {(chain.variable, value)}, []).append((step, narrowed))
        for members in links.values():
            ordered = [narrowed for _, narrowed in sorted(members, key=lambda member: member[0])]
            for outer, inner in pairwise(ordered):
                yield Group(chain.name, inner), Group(chain.name, outer)


def _belongs(variables: Mapping[str, str], chain: Chain) -> bool:
    if chain.order and variables[chain.variable] not in chain.order:
        return False
    only = all(variables.get(variable) == value for variable, value in chain.only.items())
    return only and not any(
        variables.get(variable) == value for variable, value in chain.but.items()
    )


def _follow_paths(cells: Cells, sets: Sets) -> None:
    """Who came to a point of a path ended there in one of the declared ways, or went on."""
    onward: dict[frozenset, list[Group]] = {}
    for narrowed in sorted(sets.get(PATH, ()), key=sorted):
        variables = dict(narrowed)
        if "path" in variables:
            before, _, _ = variables["path"].rpartition(THEN)
            whole = narrowed - {("path", variables["path"])} | (
                {("path", before)} if before else set()
            )
            onward.setdefault(frozenset(whole), []).append(Group(PATH, narrowed))
    for whole, steps in onward.items():
        ends = [Group(end, whole) for end in ENDS if Group(end, whole) in cells.place]
        if Group(PATH, whole) in cells.place and (ends or "path" not in dict(whole)):
            _relate(cells, Group(PATH, whole), [*ends, *steps], "how they went on")


def _start_paths(cells: Cells, sets: Sets) -> None:
    """Whose path begins with a maneuver had it first; the first of a session of several families is
    that of the session."""
    for narrowed in sorted(sets.get(FIRST, ()), key=sorted):
        variables = dict(narrowed)
        if set(variables) == {"first_maneuver"}:
            paths = [
                dict(each)["path"] for each in sets.get(PATH, ()) if set(dict(each)) == {"path"}
            ]
            begun = [
                path
                for path in paths
                if THEN not in path and path.split(TOGETHER)[0] == variables["first_maneuver"]
            ]
            parts = [Group(PATH, frozenset([("path", path)])) for path in sorted(begun)]
            if parts:
                _relate(cells, Group(FIRST, narrowed), parts, "first maneuver and paths")


def _agree(cells: Cells, sets: Sets) -> None:
    """Those of whom the record and the tests name the same are the pairs of two equal names;
    all pairs of one that the tests name are among those of whom the tests name it."""
    for alike in [name for name in sets if name.startswith(ALIKE)]:
        part = alike.removeprefix(ALIKE)
        columns: dict[str, list[Group]] = {}
        for narrowed in sorted(sets.get(f"named {part}", ()), key=sorted):
            variables = dict(narrowed)
            if set(variables) == {"recorded", "adjudicated"}:
                columns.setdefault(variables["adjudicated"], []).append(
                    Group(f"named {part}", narrowed)
                )
        same = [
            pair
            for value, pairs in columns.items()
            for pair in pairs
            if pair.by["recorded"] == value
        ]
        if frozenset() in sets[alike] and same:
            _relate(cells, Group(alike), same, "named alike")
        for value, pairs in columns.items():
            named = frozenset([(part, value)])
            if named in sets.get("positional", ()):
                _relate(cells, Group("positional", named), pairs, f"{part} named twice")
