"""The catalogue of everything that can stand in the files of estimates,
from its declarations (schemas/declared): as rows, .csv and Markdown."""

import csv
import io
from dataclasses import asdict, dataclass

from schemas.declared import PLAN
from schemas.identities import CHAINS, DIVIDED, SHARE_SUMS, SUMS, WITHIN
from schemas.quantities import KINDS, People, Quantity

BY_ITS_SIZE = "0.01, or steps of 0.05 where that would tell too much"


@dataclass(frozen=True)
class Entry:
    """One quantity of one analysis: what the columns of a row of estimates mean.

    Attributes
    ----------
    analysis, term, stratum
        Patterns of the rows that it is about.
    words, direction
        What the number means, and what a value on either side of none does.
    kind, least, most, unit
        Its scale.
    released_to
        The step to which it is rounded when it leaves.
    n_episodes, n_events
        Whom these columns count.
    identities
        What it adds up with.
    """

    analysis: str
    term: str
    stratum: str
    words: str
    direction: str
    kind: str
    least: str
    most: str
    unit: str
    released_to: str
    n_episodes: str
    n_events: str
    identities: str


def list_entries() -> list[Entry]:
    """Every quantity that an analysis of the plan can state, in the order of the plan."""
    return [
        _describe(name, quantity)
        for name, analysis in PLAN.items()
        for quantity in analysis.quantities
    ]


def format_csv() -> str:
    """The catalogue as .csv, a row each quantity."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(Entry.__dataclass_fields__), lineterminator="\n")
    writer.writeheader()
    writer.writerows(map(asdict, list_entries()))
    return out.getvalue()


def format_markdown() -> str:
    """The catalogue as a page: a section an analysis, a line a quantity."""
    parts = [
        "# What can stand in the files of estimates\n\nMade by `./run catalogue --out docs`; the "
        "same as a table with all columns: [estimates.csv](estimates.csv).\nParameters stand in "
        "braces. People are counted under one name wherever they are counted."
    ]
    for name, analysis in PLAN.items():
        lines = [
            (
                f"| `{each.term}`{f' of `{each.stratum}`' if each.stratum else ''} | "
                f"{each.words}{f' ({each.direction})' if each.direction else ''} | {each.kind} | "
                f"{each.n_episodes} | {each.n_events} |"
            )
            for each in list_entries()
            if each.analysis == name
        ]
        head = (
            "| term | meaning | kind | n_episodes counts | n_events counts |\n|---|---|---|---|---|"
        )
        parts.append(
            f"## {analysis.text.title}\n\n`{name}`. {analysis.text.estimand}\n\n"
            + "\n".join([head, *lines])
        )
    kinds = [
        (
            f"| {name} | {kind.means} | {_write(kind.least)} | {_write(kind.most)} | "
            f"{_say_decimals(kind.decimals)} |"
        )
        for name, kind in KINDS.items()
    ]
    head = "| kind | is | least | greatest | leaves to |\n|---|---|---|---|---|"
    parts.append("## Kinds of numbers\n\n" + "\n".join([head, *kinds]))
    return "\n\n".join(parts) + "\n"


def _describe(analysis: str, quantity: Quantity) -> Entry:
    kind = KINDS[quantity.kind]
    sized = quantity.sized and not quantity.stays
    return Entry(
        analysis,
        quantity.term,
        quantity.stratum,
        quantity.words,
        quantity.direction,
        quantity.kind,
        _write(kind.least),
        _write(kind.most),
        kind.unit,
        "never released" if quantity.stays else _say_decimals(kind.decimals),
        _say_people(quantity.episodes) if sized and "episodes" in kind.counts else "",
        _say_people(quantity.events) if sized and "events" in kind.counts else "",
        "; ".join(_find_identities(analysis, quantity)),
    )


def _write(number: float | None) -> str:
    return "" if number is None else f"{number:g}"


def _say_decimals(decimals: int | None) -> str:
    return BY_ITS_SIZE if decimals is None else f"{10.0**-decimals:g}"


def _say_people(people: People | None) -> str:
    """'compared (choice={arm})'."""
    if people is None:
        return ""
    by = ", ".join(f"{variable}={value}" for variable, value in people.fields.items())
    return f"{people.name} ({by})" if by else people.name


def _find_identities(analysis: str, quantity: Quantity) -> list[str]:
    """The sums, sets within sets and chains that its people or its term take part in,
    each in words."""
    names = {people.name for people in (quantity.episodes, quantity.events) if people}
    identities = [
        f"{each.whole} = {' + '.join(each.parts)}"
        for each in SUMS
        if names & {each.whole, *each.parts}
    ]
    for whole, parts in DIVIDED.items():
        if {name.replace("{endpoint}", "objective") for name in names} & {whole, *parts}:
            identities.append(f"{whole} = {' + '.join(parts)}".replace("objective", "{endpoint}"))
    identities += [
        f"{each.inner} within {each.outer}" for each in WITHIN if names & {each.inner, each.outer}
    ]
    identities += [
        f"{each.name} by {each.variable}, each within the next"
        for each in CHAINS
        if each.name in names
    ]
    identities += [
        f"1 = {' + '.join(s.terms)}"
        for s in SHARE_SUMS
        if s.analysis == analysis and quantity.term in s.terms
    ]
    return list(dict.fromkeys(identities))
