"""Deliveries that are in order, in all the ways in which clinics write them:
none may be refused."""

from collections.abc import Callable
from pathlib import Path

from tests.corpus.base import make_tables
from tests.corpus.case import Case, draw_for
from tests.corpus.delivery import Delivery
from tests.corpus.half import read_entries
from tests.corpus.pseudonyms import rename_episodes
from tests.corpus.register import CLEAN
from tests.corpus.sheet import Styled

ALPHABET = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"


def list_clean(held_out: Path | None = None) -> list[Case]:
    """The clean cases of one half: those made by functions, and those made from lists."""
    cases = [_case(name, *entry) for name, entry in CLEAN.items() if entry[2] == bool(held_out)]
    for file, make in MAKERS.items():
        for number, row in enumerate(read_entries(file, held_out)):
            change, group, set_aside = make(row, number)
            cases.append(_case(f"{file}/{row[next(iter(row))]}", group, change, None, set_aside))
    return cases


def _case(name: str, group: str, change: Callable, _held: bool | None, set_aside: bool) -> Case:
    def build(site: str) -> list[Delivery]:
        delivery = Delivery(make_tables(site), draw_for(name).choice(["csv", "xlsx"]))
        return change(delivery) or [delivery]

    return Case("clean", name, group, build, detail="rows may be set aside" if set_aside else "")


def _title(row: dict[str, str], number: int):
    table = ("episodes", "examinations", "treatments", "followups")[number % 4]

    def change(delivery: Delivery) -> None:
        above = [[row["text"]]] if number % 3 else [[row["text"]], []]
        delivery.tables.rows[table][:0] = above

    return change, "title above the header", False


def _shape(row: dict[str, str], number: int):
    draw = draw_for(row["patient"])

    def fill(pattern: str, n: int, year: int, letters: str) -> str:
        hexa = "".join(
            sign if sign in "ABCDEF0123456789" else str(ord(sign) % 10) for sign in letters
        )
        sizes = {f"r{size}": letters[:size] for size in (6, 8, 10)} | {
            f"h{size}": hexa[:size] for size in (6, 8, 12)
        }
        return pattern.format(n=n, y=year, y2=year % 100, **sizes)

    def change(delivery: Delivery) -> None:
        names = []
        for n in range(1, 13):
            year, letters = draw.randint(2021, 2025), "".join(draw.choices(ALPHABET, k=12))
            delivery.tables.put(
                "episodes", n + 1, "patient_id", fill(row["patient"], n, year, letters)
            )
            names.append(fill(row["episode"], n, year, letters))
        rename_episodes(delivery.tables, names)

    return change, "shape of pseudonyms", False


def _extra(row: dict[str, str], number: int):
    table = ("episodes", "examinations", "treatments", "followups")[number % 4]

    def change(delivery: Delivery) -> None:
        delivery.tables.add_column(
            table, row["text"], [_typed(value) for value in row["values"].split("|")]
        )

    return change, "harmless column", False


def _spelling(row: dict[str, str], number: int):
    def change(delivery: Delivery) -> None:
        header = delivery.tables.rows[row["table"]][0]
        header[header.index(row["column"])] = row["text"]

    return change, "spelling of a header", False


def _total(row: dict[str, str], number: int):
    def change(delivery: Delivery) -> None:
        delivery.tables.say(row["field"], int(row["value"]))

    return change, "the site's own totals", False


def _own_word(row: dict[str, str], number: int):
    def change(delivery: Delivery) -> None:
        at = delivery.tables.column(row["table"], row["column"])
        records = delivery.tables.rows[row["table"]][1:]
        for record in records if number % 2 else records[1::3]:
            record[at] = row["text"]

    return change, "the site's own words", True


def _odd_number(row: dict[str, str], number: int):
    def change(delivery: Delivery) -> None:
        at = (
            {"maneuver": "forced_prolonged_position", "side": "right"}
            if row["column"] == "hold_s"
            else {}
        )
        for record in range(2, 14, 5):
            for column, value in at.items():
                delivery.tables.put(row["table"], record, column, value)
            delivery.tables.put(
                row["table"],
                record,
                row["column"],
                row["text"] if number % 2 else _typed(row["text"]),
            )

    return change, "unusual number", row["text"] in ("1e1", "+7", "1,5", "-18250", "123.4")


def _format(row: dict[str, str], number: int):
    def change(delivery: Delivery) -> None:
        delivery.form = "xlsx"
        delivery.book_edits.append(lambda book: book.number_formats.append(row["text"]))
        for table, column in (
            ("treatments", "hold_s"),
            ("examinations", "latency_s"),
            ("followups", "day"),
        ):
            delivery.tables.fill(
                table, column, lambda value: value if value is None else Styled(value, 3)
            )

    return change, "number format", False


def _typed(text: str):
    for kind in (int, float):
        try:
            return (
                kind(text)
                if (text and not text.startswith(("+", "0"))) or text == "0"
                else text or None
            )
        except ValueError:
            continue
    return text


MAKERS = {
    "titles": _title,
    "shapes": _shape,
    "extra_columns": _extra,
    "spellings": _spelling,
    "totals": _total,
    "own_words": _own_word,
    "odd_numbers": _odd_number,
    "formats": _format,
}
