"""What is said of hidden numbers: limits beyond which they lie, and, of numbers that are shown, that those behind them are not few."""

import math

from tests.attack.groups import RESTS, Sum, add, count, less, read_name
from tests.attack.released import Row
from tests.attack.shares import RAW
from tests.attack.system import EVERYBODY, SMALL, System

DIFFERENCE = "difference of two groups"


def add_bounds(system: System) -> None:
    """The limits that stand for numbers, the rule that no share is shown of few with the event or without, and values that are not listed."""
    protected = _hides_few_of_either_kind([row for row, _ in system.readings])
    for row, reading in system.readings:
        told = reading.events or reading.n
        if told and row.status == "bounded":
            _bound_hidden(system, row, reading.n or {}, told)
        elif protected and reading.n and reading.events and _is_shown(row):
            system.bound(reading.events, SMALL + 1, EVERYBODY, f"a share is shown: {row.name}")
            system.bound(less(reading.n, reading.events), SMALL + 1, EVERYBODY, f"a share is shown: {row.name}")
    _put_under_rests(system)


def _hides_few_of_either_kind(rows: list[Row]) -> bool:
    """Whether a release keeps to that rule, as its readers can see: something is hidden, and no printed share has few of either kind."""
    printed = [row for row in rows if _is_shown(row) and row.n and row.events]
    few = [row for row in printed if row.events.high <= SMALL or row.n.high - row.events.low <= SMALL]
    return any(row.status == "suppressed" for row in rows) and not few


def _is_shown(row: Row) -> bool:
    """Whether a row shows a share of people."""
    own = "site=" in row.stratum or row.term == "success_raw"
    return row.status == "ok" and bool(RAW.match(row.method)) and "estimate" in row.values and not own


def _bound_hidden(system: System, row: Row, whole: Sum, told: Sum) -> None:
    low, high = row.values.get("lower"), row.values.get("upper")
    share = RAW.match(row.method) or row.method.startswith("interval-censored NPMLE")
    if high and high.high > 1:
        system.bound(told, 0, math.floor(high.high), f"limit of {row.name}")
    elif share and high and told != whole:
        names = {**whole, **told}
        total = {name: told.get(name, 0) - high.high * whole.get(name, 0) for name in names}
        system.bound(total, -EVERYBODY, 1e-7, f"limit of {row.name}")
        system.bound(told, 0, SMALL, f"limit of {row.name}")
    elif RAW.match(row.method) and low and told != whole:
        system.bound(less(whole, told), 0, SMALL, f"limit of {row.name}")


def _put_under_rests(system: System) -> None:
    """Whoever began with a maneuver that the table of first maneuvers does not list is among the rarer ones."""
    rest = count("treated", first_maneuver=RESTS[0])
    if not set(rest) <= system.names:
        return
    families = {
        told["first_maneuver"]
        for base, told in map(read_name, system.names)
        if base == "followed" and set(told) == {"first_maneuver"}
    }
    unlisted = [name for name in sorted(families) if not set(count("treated", first_maneuver=name)) <= system.names]
    parts = add(*(count("followed", first_maneuver=name) for name in unlisted))
    if parts:
        system.within(parts, rest, "began with a maneuver that is not listed", DIFFERENCE)
