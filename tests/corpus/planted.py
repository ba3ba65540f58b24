"""What is planted, and the register of places where it can be."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from tests.corpus.base import Value
from tests.corpus.delivery import Delivery
from tests.corpus.sheet import Styled
from tests.corpus.workbook import Book

TEXT = frozenset(
    [
        "name",
        "number",
        "telephone",
        "email",
        "date",
        "address",
        "postcode",
        "position",
        "network",
        "age",
        "remark",
    ]
)
SHORT = TEXT - {"remark", "age", "postcode"}
DIGITS = frozenset(["number", "telephone", "date"])


@dataclass(frozen=True)
class Planted:
    """A value that identifies a person: its kind, how it is typed, as text,
    and what to look for afterwards."""

    kind: str
    text: str
    typed: str = "text"
    needles: tuple[str, ...] = ()

    @property
    def cell(self) -> Value:
        """The value as a cell of a workbook holds it."""
        if self.typed == "number":
            return float(self.text) if "." in self.text else int(self.text)
        if self.typed == "serial":
            return Styled(int(self.text), 1)
        return self.text

    def list_needles(self) -> tuple[str, ...]:
        """Everything that must be found nowhere: the value, and a date's other forms."""
        needles = self.needles or (self.text,)
        if self.typed == "serial" or (
            self.kind == "date" and re.fullmatch(r"[1-6]\d{4}", self.text)
        ):
            day = date(1899, 12, 30) + timedelta(int(self.text))
            needles += tuple(
                f"{day:{form}}"
                for form in ("%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%m-%d-%y")
            )
        return needles


@dataclass(frozen=True)
class Place:
    """A place in a delivery: how something is put there, which kinds fit,
    and whether a text fits at all."""

    name: str
    group: str
    put: Callable[[Delivery, Planted], None]
    takes: frozenset[str]
    fits: Callable[[Planted], bool]


PLACES: dict[str, Place] = {}


def place(
    group: str, takes: Iterable[str] = TEXT, fits: Callable[[Planted], bool] = lambda planted: True
):
    """Register a place under the function's name."""

    def register(put: Callable[[Delivery, Planted], None]):
        PLACES[put.__name__] = Place(put.__name__, group, put, frozenset(takes), fits)
        return put

    return register


def book_place(
    group: str, takes: Iterable[str] = TEXT, fits: Callable[[Planted], bool] = lambda planted: True
):
    """Register a place that is a change of a workbook: a function of the book and the text."""

    def register(change: Callable[[Book, str], None]):
        def put(delivery: Delivery, planted: Planted) -> None:
            delivery.edit_book(lambda book: change(book, planted.text))

        PLACES[change.__name__] = Place(change.__name__, group, put, frozenset(takes), fits)
        return change

    return register


def short(length: int, without: str = "") -> Callable[[Planted], bool]:
    """Whether a value is text on one line, at most that long, without certain characters."""
    barred = {"\n", *without}
    return lambda planted: (
        len(planted.text) <= length and not barred & set(planted.text) and planted.typed == "text"
    )


def as_text(planted: Planted) -> bool:
    """Whether a value is text, not a number."""
    return planted.typed == "text"
