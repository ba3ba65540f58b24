"""What printed shares tell of the counts behind them: the share itself, its exact limits,
agreement beyond chance, and split classes."""

import itertools
import re
from collections.abc import Callable
from fractions import Fraction

import numpy as np
from scipy.special import betaincinv

from tests.attack.groups import RESTS, Sum, count, describe, read_name
from tests.attack.readings import Reading, find_day
from tests.attack.released import FULL, Range, Row
from tests.attack.system import EVERYBODY, Choice, System

LARGEST = 3000  # a share of more people than this is not turned back into people
MOST_PAIRS = 400
NEAR = 1e-9
ALONE = (1, 2)  # so few sites widen no exact limits: guards.min_sites of the plan
Bounds = Callable[[Sum], tuple[float, float]]
RAW = re.compile(r"share of (episodes|attempts|those tested again|the totals)")
EXACT = "exact (Clopper-Pearson)"


def add_shares(system: System, bounds: Bounds) -> None:
    """Rules and lists of choices from the numbers of each row;
    `bounds` gives what is known of a sum already."""
    first_events: dict[tuple, dict[str, tuple[Row, Reading]]] = {}
    for row, reading in system.readings:
        share = row.values.get("estimate")
        if share is None or not reading.n:
            continue
        base = reading.attempts if row.term == "success_raw" else reading.n
        if RAW.match(row.method) and reading.events and base:
            _tie_share(system, row, base, reading.events, share)
            if EXACT in row.method:
                _invert_limits(system, row, base, reading.events, bounds)
        elif row.method.startswith("interval-censored NPMLE") and "left out once" not in row.method:
            _bound_by_curve(system, row, reading, share)
        elif row.method.startswith("Aalen-Johansen"):
            day = find_day(row.term) or ""
            first_events.setdefault((row.stratum, day), {})[row.term] = (row, reading)
        elif row.term == "truncated_share":
            _ask_cut_weights(system, row, reading, share)
        elif row.term.startswith("smd_before:"):
            _split_class(system, row, reading, bounds)
    for rows in first_events.values():
        _bound_by_first_events(system, rows)
    _read_attempts(system)
    _read_notes(system)


def _tie_share(system: System, row: Row, base: Sum, events: Sum, share: Range) -> None:
    """Events are the share of their base: as fractions where it was printed in full,
    else within its last decimal."""
    if share.high - share.low < 2 * 10**-FULL:
        _divide(system, row, base, events, share)
        return
    names = {**base, **events}
    for end, side in ((share.low, 1), (share.high, -1)):
        total = {name: side * (events.get(name, 0) - end * base.get(name, 0)) for name in names}
        system.bound(total, 0, EVERYBODY, f"share of {row.name}")


def _divide(system: System, row: Row, base: Sum, events: Sum, share: Range) -> None:
    """A share printed in full is a fraction; the base is a multiple of its denominator."""
    middle = (share.low + share.high) / 2
    fraction = Fraction(middle).limit_denominator(LARGEST)
    if abs(float(fraction) - middle) > 1e-12 * max(1, abs(middle)):
        return
    times = f"times of {row.name}"
    system.bound({**base, times: -fraction.denominator}, 0, 0, f"denominator of {row.name}")
    if fraction.numerator:
        system.bound({**events, times: -fraction.numerator}, 0, 0, f"numerator of {row.name}")
    else:
        system.bound(events, 0, 0, f"nobody in {row.name}")


def _invert_limits(system: System, row: Row, base: Sum, events: Sum, bounds: Bounds) -> None:
    """Pairs of people and events whose exact limits are the printed ones, or, from some sites on,
    lie within them."""
    low, high, share = row.values.get("lower"), row.values.get("upper"), row.values["estimate"]
    (n_low, n_high), (e_low, e_high) = bounds(base), bounds(events)
    if not (low and high and len(base) == len(events) == 1) or (
        n_low == n_high and e_low == e_high
    ):
        return
    pairs = np.array(
        _list_pairs(share, int(max(n_low, 1)), int(min(n_high, LARGEST)), e_low, e_high), float
    ).reshape(-1, 2)
    if not len(pairs):
        return
    m, k = pairs.T
    least = np.where(k == 0, 0, betaincinv(np.maximum(k, 1), m - k + 1, 0.025))
    most = np.where(k == m, 1, betaincinv(k + 1, np.maximum(m - k, 1), 0.975))
    fits = (least >= low.low - NEAR) & (most <= high.high + NEAR)
    if row.sites in ALONE:
        fits &= (least <= low.high + NEAR) & (most >= high.low - NEAR)
    rows = tuple((int(people), int(number)) for people, number in pairs[fits])
    if rows and len(rows) <= MOST_PAIRS:
        system.choices.append(Choice((*base, *events), rows, f"limits of {row.name}"))


def _list_pairs(
    share: Range, first: int, last: int, e_low: float, e_high: float
) -> list[tuple[int, int]]:
    """People and events that give the printed share."""
    pairs = []
    for people in range(first, last + 1):
        least, most = np.ceil(share.low * people - NEAR), np.floor(share.high * people + NEAR)
        pairs += [
            (people, number)
            for number in range(int(max(least, e_low, 0)), int(min(most, e_high, people)) + 1)
        ]
    return pairs


def _bound_by_curve(system: System, row: Row, reading: Reading, share: Range) -> None:
    """A non-parametric curve gives at least the share known to be resolved by then,
    at most that of those not known to be unresolved."""
    if row.term.startswith("resolved_by_day") and reading.events:
        total = {name: share.high * number for name, number in (reading.n or {}).items()}
        for name, number in reading.events.items():
            total[name] = total.get(name, 0) - number
        system.bound(total, -1e-7, EVERYBODY, f"known to be resolved in {row.name}")


def _bound_by_first_events(system: System, rows: dict[str, tuple[Row, Reading]]) -> None:
    """Aalen-Johansen hands the weight of who left early to those who stayed: each share is at least
    that of its events, and all of them together exceed their events by what the share without any
    event tells."""
    parts = [(row, reading) for term, (row, reading) in rows.items() if term.startswith("seen_")]
    free = next((pair for term, pair in rows.items() if term.startswith("nothing_seen")), None)
    for row, reading in parts:
        share, events, n = row.values["estimate"], reading.events or {}, reading.n or {}
        system.bound(_mix((n, share.high), (events, -1)), -1e-7, EVERYBODY, f"events of {row.name}")
        if free:
            left, any_event = free[0].values["estimate"], free[1].events or {}
            # events of this kind >= n * share - (n * (1 - left) - events of any kind)
            least = _mix((events, 1), (n, -share.low + 1 - left.low), (any_event, -1))
            system.bound(least, -1e-7, EVERYBODY, f"events of {row.name}, by the share without any")


def _mix(*parts: tuple[Sum, float]) -> dict[str, float]:
    total: dict[str, float] = {}
    for terms, times in parts:
        for name, number in terms.items():
            total[name] = total.get(name, 0) + number * times
    return total


def _ask_cut_weights(system: System, row: Row, reading: Reading, share: Range) -> None:
    """The share of people whose weight was cut is a count of people."""
    cut = {f"weight cut, {describe(reading.n or {})}": 1}
    for end, side in ((share.low, 1), (share.high, -1)):
        system.bound(
            _mix((cut, side), (reading.n or {}, -side * end)),
            -1e-6,
            EVERYBODY,
            f"share of {row.name}",
        )
    system.ask(cut, "cut weights", row.name)


def _split_class(system: System, row: Row, reading: Reading, bounds: Bounds) -> None:
    """The difference of two arms in how common a class is, in units of its spread,
    tells how many of the class each arm has."""
    (name,) = reading.n if len(reading.n or {}) == 1 else ("",)
    base, narrowed = read_name(name)
    stratum = {key: value for key, value in narrowed.items() if key in ("variant", "change_to")}
    arms = [count(base, stratum, **{"arm chosen": arm}) for arm in ("change", "repeat")]
    sizes, members = [bounds(arm) for arm in arms], bounds(reading.n or {})
    if narrowed == stratum or any(low != high for low, high in [*sizes, members]) or not members[0]:
        return
    changed, repeated = (int(size[0]) for size in sizes)
    split = np.arange(int(members[0]) + 1)
    one, other = split / changed, (members[0] - split) / repeated
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = (one - other) / np.sqrt((one * (1 - one) + other * (1 - other)) / 2)
    told_range = row.values["estimate"]
    fits = (
        (apart >= told_range.low - 1e-9)
        & (apart <= told_range.high + 1e-9)
        & (one <= 1)
        & (other <= 1)
    )
    names = tuple(
        name_
        for arm in ("change", "repeat")
        for name_ in count(base, narrowed, **{"arm chosen": arm})
    )
    rows = tuple((int(k), int(members[0] - k)) for k in split[fits])
    if rows and len(rows) <= MOST_PAIRS:
        system.names.update(names)
        system.choices.append(Choice(names, rows, f"split of {row.name}"))
        for group in names:
            system.ask({group: 1}, "split class", row.name)


def _read_attempts(system: System) -> None:
    """`77 attempts` in a note is how many sessions a row has;
    of a session by its number each person has one."""
    for row, reading in system.readings:
        if reading.attempts and row.status == "ok":
            match = re.match(r"(\d[\d,]*) attempts", row.note)
            if match:
                number = int(match.group(1).replace(",", ""))
                system.bound(reading.attempts, number, number, f"note of {row.name}")
            elif re.fullmatch(r"attempt_number=\d+", row.stratum) and row.n:
                system.bound(
                    reading.attempts,
                    row.n.low,
                    row.n.high,
                    f"as many sessions as people in {row.name}",
                )


def _read_notes(system: System) -> None:
    """People counted in the words of a note."""
    for row, _ in system.readings:
        for number in re.findall(r"without (\d[\d,]*) who", row.note):
            left = int(number.replace(",", ""))
            group = {f"left out, {row.population} / {row.stratum}": 1}
            system.bound(group, left, left, f"note of {row.name}")
            system.ask(group, "note", row.name)


def add_kappas(system: System, bounds: Bounds) -> None:
    """A table of two diagnoses of which a few cells are hidden:
    those ways to fill them that give the printed kappa and agreement."""
    tables = {
        row.term.partition("_")[0]: row
        for row, _ in system.readings
        if row.stratum == "all" and row.term.endswith("_kappa")
    }
    for part, row in tables.items():
        base, kappa = f"{part} named twice", row.values.get("estimate")
        cells = sorted(
            name
            for name in system.names
            if read_name(name)[0] == base and "recorded" in read_name(name)[1]
        )
        reach = {name: bounds({name: 1}) for name in cells}
        hidden = [name for name in cells if reach[name][0] != reach[name][1]]
        if any(read_name(name) == (base, {"pair": RESTS[-1]}) for name in system.names):
            continue  # in which cells they are who are counted together, nobody tells
        ways = np.prod([reach[name][1] - reach[name][0] + 1 for name in hidden]) if hidden else 0
        if not kappa or not hidden or len(hidden) > 3 or ways > 20_000:
            continue
        choices = itertools.product(
            *(range(int(reach[n][0]), int(reach[n][1]) + 1) for n in hidden)
        )
        known = {name: int(reach[name][0]) for name in cells}
        fits = tuple(
            way
            for way in choices
            if _fits_kappa(known | dict(zip(hidden, way, strict=True)), kappa)
        )
        if fits and len(fits) <= MOST_PAIRS:
            system.choices.append(Choice(tuple(hidden), fits, f"kappa of {part}"))


def _fits_kappa(cells: dict[str, int], kappa: Range) -> bool:
    values = sorted({value for name in cells for value in read_name(name)[1].values()})
    table = np.zeros((len(values), len(values)))
    for name, number in cells.items():
        narrowed = read_name(name)[1]
        table[values.index(narrowed["recorded"]), values.index(narrowed["adjudicated"])] = number
    total = table.sum()
    agree, chance = np.trace(table) / total, (table.sum(axis=0) @ table.sum(axis=1)) / total**2
    if chance == 1:
        return True
    return kappa.low - 1e-9 <= (agree - chance) / (1 - chance) <= kappa.high + 1e-9
