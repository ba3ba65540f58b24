"""Names of groups of people, so that a group counted in two tables has one name,
and sums of such counts.

A name is a base population and what holds of its members: `followed[arm=long; canal=posterior]`. A
value that joins several, as `sex=male|unknown` (`sex=male+unknown` in a table), stands for the sum
of its parts; one of RESTS for all values that the table does not list.
"""

import itertools
import re
from collections import Counter
from collections.abc import Iterable, Mapping

Sum = dict[str, int]  # names of counts, and how often each is added
JOINED = "|"
RESTS = ("rarer", "otherwise", "any other pair")


def name_group(base: str, narrowed: Mapping[str, str]) -> str:
    """The name of those of `base` of whom all of `narrowed` holds."""
    return base + (
        f"[{'; '.join(f'{key}={narrowed[key]}' for key in sorted(narrowed))}]" if narrowed else ""
    )


def read_name(name: str) -> tuple[str, dict[str, str]]:
    """The base of a group, and what holds of its members."""
    base, _, rest = name.removesuffix("]").partition("[")
    return base, dict(part.split("=", 1) for part in rest.split("; ")) if rest else {}


def count(base: str, narrowed: Mapping[str, str] | None = None, **more: object) -> Sum:
    """The count of a group; one of joined values is the sum over them."""
    narrowed = {key: str(value) for key, value in {**(narrowed or {}), **more}.items()}
    choices = [[(key, value) for value in values.split(JOINED)] for key, values in narrowed.items()]
    return dict(
        Counter(
            name_group(base, _spell_out(dict(chosen))) for chosen in itertools.product(*choices)
        )
    )


def add(*parts: tuple[Sum, int] | Sum) -> Sum:
    """The sum of sums, each taken as often as its number says (once if it has none);
    what cancels out is left out."""
    total: Counter[str] = Counter()
    for part in parts:
        terms, times = part if isinstance(part, tuple) else (part, 1)
        for name, number in terms.items():
            total[name] += number * times
    return {name: number for name, number in total.items() if number}


def less(whole: Sum, part: Sum) -> Sum:
    """What is left of the whole without the part."""
    return add(whole, (part, -1))


def read_stratum(stratum: str) -> dict[str, str]:
    """What a stratum says of its members."""
    if stratum in ("", "all"):
        return {}
    narrowed = dict(part.split("=", 1) for part in re.split(r",(?=\w+=)", stratum) if "=" in part)
    return {
        key: value if key == "path" else value.replace("+", JOINED)
        for key, value in narrowed.items()
    }


def _spell_out(narrowed: dict[str, str]) -> dict[str, str]:
    """The same with one word for each thing: an arm with its definition,
    a family by its name as first maneuver."""
    if "basis" in narrowed:
        narrowed["arm"] = f"{narrowed.get('arm', 'short')} by {narrowed.pop('basis')}"
    if "first_family" in narrowed:
        narrowed["first_maneuver"] = narrowed.pop("first_family")
    if "canal_arm" in narrowed:
        narrowed["canal"], _, narrowed["arm"] = narrowed.pop("canal_arm").partition(" ")
    return narrowed


def describe(total: Iterable[tuple[str, int]] | Sum) -> str:
    """A sum in words: the group itself, or groups with their signs."""
    terms = sorted(dict(total).items(), key=lambda term: (-term[1], term[0]))
    text = "".join(
        f" {'+' if n > 0 else '-'} {f'{abs(n)} x ' if abs(n) > 1 else ''}{name}"
        for name, n in terms
    )
    return text.removeprefix(" + ").strip()
