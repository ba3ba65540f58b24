"""The corpus of slips: what coordinators do to their records,
and what they should and should not be told."""

from pathlib import Path

from tests.corpus.base import make_tables
from tests.corpus.case import Case, Trap, draw_for
from tests.corpus.delivery import Delivery
from tests.corpus.half import read_entries
from tests.corpus.register import MESSY

OPTIONAL = (
    "migraine_history",
    "neck_limitation",
    "osteoporosis",
    "cannot_stand",
    "new_hearing_change",
    "continuous_24h",
)
WORDS = {
    "*RL": {"right": "R", "left": "L", "both": "B"},
    "*rechts": {"right": "rechts", "left": "links"},
    "*FM": {"female": "F", "male": "M"},
    "*weiblich": {"female": "weiblich", "male": "männlich"},
    "*12": {"female": 1, "male": 2},
}
NONSENSE = "qzxqzx"


def list_messy(held_out: Path | None = None) -> list[Case]:
    """The slips of one half: made by functions, by entries in cells,
    and entries near a code of another meaning."""
    cases = [
        _function_case(name, slip) for name, slip in MESSY.items() if slip["held"] == bool(held_out)
    ]
    cases += [_slip_case(row) for row in read_entries("slips", held_out)]
    traps = [
        Trap(
            r["table"],
            r["column"],
            r["entry"],
            r["wrong"],
            tuple(filter(None, r["right"].split("|"))),
        )
        for r in read_entries("traps", held_out)
    ]
    places = dict.fromkeys((trap.table, trap.column) for trap in traps)
    return [*cases, *(_control_case(*place) for place in places), *map(_trap_case, traps)]


def _function_case(name: str, slip: dict) -> Case:
    def build(site: str) -> list[Delivery]:
        delivery = Delivery(
            make_tables(site, slip["episodes"]), draw_for(name).choice(["csv", "xlsx"])
        )
        return slip["change"](delivery) or [delivery]

    more = {key: slip[key] for key in ("blocks", "skipped", "path", "silent") if key in slip}
    return Case(
        "messy",
        name,
        slip.get("group", "whole delivery"),
        build,
        told=tuple(slip["told"]),
        never=tuple(slip["never"]),
        **more,
    )


def _slip_case(row: dict[str, str]) -> Case:
    value = (
        row["value"].encode("raw_unicode_escape").decode("unicode_escape")
        if "\\" in row["value"]
        else row["value"] or None
    )
    facts = tuple(part.strip() for part in row["told"].split(" && ") if part)

    def build(site: str) -> list[Delivery]:
        delivery = Delivery(make_tables(site, 40), draw_for(row["text"]).choice(["csv", "xlsx"]))
        columns = OPTIONAL[:3] if row["column"] == "*optional" else (row["column"],)
        for column in columns:
            _enter(delivery, row["table"], column, value, row["where"])
        return [delivery]

    never = (row["never"],) if row["never"] else ()
    return Case(
        "messy",
        f"slip/{row['text']}",
        "entry in cells",
        build,
        told=facts,
        never=never,
        blocks=3,
        silent=not facts,
    )


def _enter(delivery: Delivery, table: str, column: str, value: object, which: str) -> None:
    last = len(delivery.tables.rows[table])
    chosen = {"one": [6], "some": range(3, last + 1, 6), "all": range(2, last + 1)}[which]
    for number in chosen:
        old = delivery.tables.get(table, number, column)
        if value in WORDS:
            delivery.tables.put(table, number, column, WORDS[value].get(old, old))
        elif old is not None or which != "all":
            delivery.tables.put(table, number, column, value)


def _trap_case(trap: Trap) -> Case:
    name = f"trap/{trap.table}.{trap.column}/{trap.entry}"
    return Case("messy", name, "entry near a code of another meaning", _build_trap(trap), trap=trap)


def _control_case(table: str, column: str) -> Case:
    trap = Trap(table, column, NONSENSE, "")
    return Case("messy", f"control/{table}.{column}", "control", _build_trap(trap), trap=trap)


def _build_trap(trap: Trap):
    def build(site: str) -> list[Delivery]:
        delivery = Delivery(make_tables(site), "csv")
        for number in (4, 7):
            delivery.tables.put(trap.table, number, trap.column, trap.entry)
        return [delivery]

    return build
