"""What to say of a release that fails its audit: which tables together give what away, in words an analyst can look up, and no number."""

from pipeline.disclose.audit import Exposed
from pipeline.disclose.cells import REST, Cell, Release

MOST_FOUND, MOST_SUMS, MOST_PARTS = 10, 6, 8
KINDS = {"episodes": "how many episodes", "events": "how many with the event", "others": "how many without the event"}


def describe_exposed(exposed: list[Exposed], release: Release) -> str:
    """Each count that is given away, and the sums that prove it: which of their parts are shown, and which are hidden."""
    counts = "1 hidden count" if len(exposed) == 1 else f"{len(exposed)} hidden counts"
    lines = [f"{counts} can be worked out from what is shown, so nothing is released. Hidden parts stand in brackets."]
    for found in exposed[:MOST_FOUND]:
        cell = release.cells[found.cell]
        why = "nearly all of one site" if found.cell in release.least_most else "a small group"
        lines.append(f"\n{cell.where}: {KINDS[cell.kind]} ({why}). It follows from")
        lines += [f"  - {_say_sum(equation, release)}" for equation in found.proof[:MOST_SUMS]]
        if len(found.proof) > MOST_SUMS:
            lines.append(f"  - and {len(found.proof) - MOST_SUMS} more sums")
    if len(exposed) > MOST_FOUND:
        lines.append(f"\nand {len(exposed) - MOST_FOUND} more counts.")
    lines.append(
        "\nOne more shown part of one of these sums must be hidden: name it in the analysis as withheld, divide its table by fewer variables, "
        "or leave a table out of the release."
    )
    return "\n".join(lines)


def _say_sum(equation: frozenset, release: Release) -> str:
    """'table, events: whole = shown part + (hidden part)'."""
    members = sorted(equation, key=lambda member: (member[0] not in release.shown, member[0]))
    kinds = {release.cells[n].kind for n, _ in members}
    sides: dict[int, list[str]] = {-1: [], 1: []}
    for n, sign in members:
        name = _name_part(release.cells[n]) if len(kinds) == 1 else release.cells[n].kind
        sides[sign].append(name if n in release.shown else f"({name})")
    more = len(sides[1]) - MOST_PARTS
    parts = sides[1][:MOST_PARTS] + ([f"{more} more"] if more > 0 else [])
    of = f", {', '.join(kinds)}" if len(kinds) == 1 else ""
    return f"{release.equations[equation]}{of}: {' + '.join(sides[-1])} = {' + '.join(parts)}"


def _name_part(cell: Cell) -> str:
    """The stratum of a cell, and when it was counted; its table stands beside it."""
    if REST in cell.where:
        return REST
    said = cell.where.split(", ")
    when = [words for words in said[3:] if "release before" in words]
    return ", ".join([said[2], *when])
