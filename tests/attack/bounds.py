"""What is said of hidden numbers: limits beyond which they lie, and, of numbers that are shown,
that those behind them are not few."""

import math

from tests.attack.groups import RESTS, Sum, add, count, less, read_name
from tests.attack.released import Row
from tests.attack.shares import RAW
from tests.attack.system import EVERYBODY, SMALL, System

DIFFERENCE = "difference of two groups"
# the least and the greatest share of parts of a group say nothing of its own
PARTS = "without_one_site"


def add_bounds(system: System) -> None:
    """The limits that stand for numbers, the rule that no share is shown of few with the event or
    without, and values that are not listed."""
    rows = [row for row, _ in system.readings]
    few = find_few(rows)
    protected = _hides_few_of_either_kind(rows, few)
    for row, reading in system.readings:
        events = reading.events or reading.n
        if events and row.status == "bounded":
            _bound_hidden(system, row, reading.n or {}, events, few)
        elif protected and reading.n and reading.events and _is_shown(row):
            system.bound(reading.events, few + 1, EVERYBODY, f"a share is shown: {row.name}")
            system.bound(
                less(reading.n, reading.events), few + 1, EVERYBODY, f"a share is shown: {row.name}"
            )
    _put_under_rests(system)


def find_few(rows: list[Row]) -> int:
    """How many a release calls few: the greatest number that it gives as a limit of a count."""
    limits = [
        row.values["upper"].high
        for row in rows
        if row.status == "bounded" and "upper" in row.values
    ]
    return max((math.floor(limit) for limit in limits if limit > 1.5), default=SMALL)


def _hides_few_of_either_kind(rows: list[Row], few: int) -> bool:
    """Whether a release keeps to that rule, as its readers can see: something is hidden,
    and no printed share has few of either kind."""
    printed = [row for row in rows if _is_shown(row) and row.n and row.events]
    small = [row for row in printed if row.events.high <= few or row.n.high - row.events.low <= few]
    return any(row.status == "suppressed" for row in rows) and not small


def _is_shown(row: Row) -> bool:
    """Whether a row shows a share of people."""
    of_one_site_or_cell = "site=" in row.stratum or row.term == "success_raw"
    return (
        row.status == "ok"
        and bool(RAW.match(row.method))
        and "estimate" in row.values
        and not of_one_site_or_cell
    )


def _bound_hidden(system: System, row: Row, whole: Sum, part: Sum, few: int) -> None:
    low, high = row.values.get("lower"), row.values.get("upper")
    share = RAW.match(row.method) or row.method.startswith("interval-censored NPMLE")
    if high and high.high > 1:
        system.bound(part, 0, math.floor(high.high), f"limit of {row.name}")
    elif share and high and part != whole and PARTS not in row.stratum:
        names = {**whole, **part}
        total = {name: part.get(name, 0) - high.high * whole.get(name, 0) for name in names}
        system.bound(total, -EVERYBODY, 1e-7, f"limit of {row.name}")
        system.bound(part, 0, few if RAW.match(row.method) else SMALL, f"limit of {row.name}")
    elif RAW.match(row.method) and low and part != whole:
        system.bound(less(whole, part), 0, few, f"limit of {row.name}")


def _put_under_rests(system: System) -> None:
    """Whoever began with a maneuver that the table of first maneuvers does not list is among the
    rarer ones."""
    rest = count("treated", first_maneuver=RESTS[0])
    if not set(rest) <= system.names:
        return
    families = {
        narrowed["first_maneuver"]
        for base, narrowed in map(read_name, system.names)
        if base == "followed" and set(narrowed) == {"first_maneuver"}
    }
    unlisted = [
        name
        for name in sorted(families)
        if not set(count("treated", first_maneuver=name)) <= system.names
    ]
    parts = add(*(count("followed", first_maneuver=name) for name in unlisted))
    if parts:
        system.within(parts, rest, "began with a maneuver that is not listed", DIFFERENCE)
