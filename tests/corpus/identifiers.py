"""The corpus of identifiers: each planted value somewhere, and each place with values of several
kinds."""

import hashlib
from pathlib import Path
from xml.sax.saxutils import escape

from tests.corpus.base import make_tables
from tests.corpus.case import Case
from tests.corpus.delivery import Delivery
from tests.corpus.half import is_open, read_entries
from tests.corpus.planted import PLACES, SHORT, TEXT, Place, Planted
from tests.corpus.pseudonyms import list_pseudonym_cases, make_values
from tests.corpus.workbook import Book

FILES = {
    "name": "names",
    "number": "numbers",
    **{
        kind: kind
        for kind in (
            "telephone",
            "email",
            "date",
            "address",
            "postcode",
            "position",
            "network",
            "age",
            "remark",
        )
    },
    "old": "old",
}
KINDS_A_PLACE = 4


def list_identifiers(held_out: Path | None = None) -> list[Case]:
    """The cases of one half.

    Held back are unseen values, in all places, and unseen places, with all values.
    """
    values = {kind: _read_values(kind, None) for kind in FILES}
    unseen = {kind: _read_values(kind, held_out) for kind in FILES} if held_out else values
    places = {**PLACES, **_list_property_places(held_out)}
    cases: dict[str, Case] = {}
    for kind, planted in unseen.items():
        for value in planted:
            _add(cases, _choose(places, kind, value), value)
    for spot in places.values():
        new = held_out and not is_open("place", spot.name)
        pool = (
            {kind: unseen[kind] + (values[kind] if new else []) for kind in FILES}
            if held_out
            else values
        )
        for kind in _order(f"kinds {spot.name}", sorted(spot.takes & FILES.keys()))[:KINDS_A_PLACE]:
            fitting = [value for value in pool[kind] if spot.fits(value)]
            if fitting:
                _add(cases, spot, _order(f"{spot.name} {kind}", fitting, str)[0])
    return [*cases.values(), *list_header_cases(held_out), *list_pseudonym_cases(held_out)]


def list_header_cases(held_out: Path | None) -> list[Case]:
    """Columns whose name says what they hold, in many languages, with such values in each row."""
    return [
        _header_case(entry["text"], entry["language"], entry["holds"])
        for entry in read_entries("headers", held_out)
    ]


def _header_case(header: str, language: str, holds: str) -> Case:
    values = make_values(holds, header)

    def build(site: str) -> list[Delivery]:
        tables = make_tables(site)
        tables.add_column("episodes", header, values)
        return [Delivery(tables, "csv" if len(header) % 2 else "xlsx")]

    return Case(
        "identifiers",
        f"header/{holds}/{header}",
        "column named so",
        build,
        tuple(dict.fromkeys(values)),
        detail=language,
    )


def _read_values(kind: str, held_out: Path | None) -> list[Planted]:
    return [
        Planted(
            kind,
            row["text"],
            row.get("typed") or "text",
            tuple(filter(None, (row.get("needles") or "").split("|"))),
        )
        for row in read_entries(FILES[kind], held_out)
    ]


def _list_property_places(held_out: Path | None) -> dict[str, Place]:
    rows = read_entries("properties") + (read_entries("properties", held_out) if held_out else [])
    return {row["name"]: _property_place(row) for row in rows}


def _property_place(row: dict[str, str]) -> Place:
    def put(delivery: Delivery, planted: Planted) -> None:
        def change(book: Book) -> None:
            setattr(
                book,
                row["part"],
                getattr(book, row["part"]) + row["xml"].replace("{text}", escape(planted.text)),
            )

        delivery.edit_book(change)

    takes = TEXT if row["takes"] == "text" else SHORT
    return Place(
        row["name"], "document property", put, takes, lambda planted: planted.typed == "text"
    )


def _choose(places: dict[str, Place], kind: str, value: Planted) -> Place:
    fitting = [place for place in places.values() if kind in place.takes and place.fits(value)]
    cells = [
        place
        for place in fitting
        if place.group in ("cell of a known column", "cell of another column", "broken up")
    ]
    return _order(f"{kind} {value.text} {value.typed}", cells or fitting, lambda place: place.name)[
        0
    ]


def _order(seed: str, items: list, name=lambda item: item) -> list:
    return sorted(
        items, key=lambda item: hashlib.sha256(f"{seed}/{name(item)}".encode()).hexdigest()
    )


def _add(cases: dict[str, Case], spot: Place, value: Planted) -> None:
    short = hashlib.sha256(f"{value.text}{value.typed}".encode()).hexdigest()[:6]
    name = f"{spot.name}/{value.kind}/{short}"

    def build(site: str) -> list[Delivery]:
        delivery = Delivery(make_tables(site), "csv" if int(short, 16) % 2 else "xlsx")
        spot.put(delivery, value)
        return [delivery]

    cases[name] = Case(
        "identifiers", name, spot.group, build, value.list_needles(), detail=value.kind
    )
