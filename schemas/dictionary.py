"""The data dictionary: what the schemas say of each column of a delivery and of each check,
once for all its forms."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from schemas import rules
from schemas.codes import TABLE
from schemas.columns import (
    DICTIONARY_VERSION,
    VERSIONS,
    Description,
    Integer,
    Number,
    Rule,
    Severity,
    Table,
)
from schemas.delivery import OLDEST, SIGNS, TABLES, Submission
from schemas.reasons import explain_why

DELIVERED: dict[str, type[Table]] = {"submission": Submission} | TABLES
# what the sentences of a rule may ask for
NAMED_LATER = ("column", "meaning", "unit", "allowed", "least", "most")
CAPPED = "age_years"  # from the oldest on it is a text

Kind = Literal["code", "whole number", "number", "text"]


@dataclass(frozen=True)
class Entry:
    """One column of one table, or one field of the submission table.

    Attributes
    ----------
    table, column
        Where it is.
    meaning, unit
        What it holds.
    kind
        What a cell is.
    form
        What else is to be known of the way in which it is written.
    needed
        Whether no cell may be empty.
    least, most
        Bounds of a number.
    example
        What a cell may look like.
    why
        Why it is asked for.
    versions
        Those of the dictionary that have it.
    several
        Whether a cell may hold several codes.
    codes
        The closed list with its meanings, empty where there is none.
    """

    table: str
    column: str
    meaning: str
    unit: str
    kind: Kind
    form: str
    needed: bool
    least: float | None
    most: float | None
    example: str
    why: str
    versions: tuple[int, ...]
    several: bool
    codes: dict[str, str] = field(default_factory=dict)


def list_entries(maneuvers: Mapping[str, str]) -> list[Entry]:
    """All entries in the order of tables and columns, of all versions.

    `maneuvers` are the plan's own list, code and name: the schemas do not hold it.
    """
    return [
        _describe(table, column, maneuvers)
        for table, model in DELIVERED.items()
        for column in model.describe().values()
    ]


def list_row_rules(table: str) -> list[Rule]:
    """The rules across the columns of one row of a table, in the order in which its model states
    them."""
    return [rules.RULES[check.name] for check in DELIVERED[table].to_schema().checks]


def list_other_rules(severity: Severity) -> list[Rule]:
    """All rules of one severity that belong to no single table."""
    of_rows = {rule.name for table in DELIVERED for rule in list_row_rules(table)}
    return [
        rule
        for rule in rules.RULES.values()
        if rule.severity == severity and rule.name not in of_rows
    ]


def phrase_openly(sentence: str) -> str:
    """A rule's sentence for no column in particular: [column] stands where a column's name will."""
    return sentence.format(**{word: f"[{word}]" for word in NAMED_LATER})


def say_table(table: str) -> str:
    """What one row of a table is."""
    return TABLE[table]


def say_form(entry: Entry) -> str:
    """What may stand in a cell, in half a sentence: kind, bounds, unit, form."""
    if entry.several:
        return "one or more of the listed codes, with semicolons between them"
    if entry.codes:
        return "one of the listed codes"
    if entry.kind == "text":
        return entry.form or "text"
    parts = [entry.kind, say_limits(entry), entry.form, f"({entry.unit})" if entry.unit else ""]
    return " ".join(filter(None, parts))


def say_limits(entry: Entry) -> str:
    """The bounds of a number in words, or nothing."""
    least, most = (
        None if bound is None else say_number(bound) for bound in (entry.least, entry.most)
    )
    if least and most:
        return f"between {least} and {most}"
    return f"of {least} or more" if least else f"of {most} or less" if most else ""


def say_number(number: float) -> str:
    """A number in words for people; from five digits on it is parted,
    so that no one takes it for a code or a postcode."""
    return f"{number:,.15g}" if abs(number) >= 10_000 else f"{number:.15g}"


def is_spared(entry: Entry) -> bool:
    """Whether a cell may be empty in a negative test."""
    return entry.table == "examinations" and entry.column in SIGNS


def say_need(entry: Entry) -> str:
    """Whether a cell may be empty."""
    if is_spared(entry):
        return "must be filled, unless result is negative"
    return "must be filled" if entry.needed else "may be empty"


def list_current_entries(maneuvers: Mapping[str, str]) -> list[Entry]:
    """The entries of the version to follow."""
    return [entry for entry in list_entries(maneuvers) if DICTIONARY_VERSION in entry.versions]


def say_versions(entry: Entry) -> str:
    """Which versions have it, or nothing if all do."""
    if entry.versions == VERSIONS:
        return ""
    return f"version {' and '.join(map(str, entry.versions))} only"


def say_accepted() -> str:
    """Which deliveries are read, in a sentence."""
    older = " and ".join(str(version) for version in VERSIONS if version != DICTIONARY_VERSION)
    return (
        f"New deliveries follow version {DICTIONARY_VERSION}; those of version {older} are "
        "accepted as they are."
    )


def _describe(table: str, column: Description, maneuvers: Mapping[str, str]) -> Entry:
    codes = maneuvers if column.name == "maneuver" else column.codes or {}
    numbers: dict[type, Kind] = {Integer: "whole number", Number: "number"}
    number = numbers.get(type(column.dtype), "text")
    # the one number that may stand as a text: no age above 89 may be told
    capped = column.name == CAPPED
    return Entry(
        table=table,
        column=column.name,
        meaning=column.meaning,
        unit=column.unit or "",
        kind="code" if codes else number,
        form=f"or the text {OLDEST}+" if capped else "" if codes else column.form_words or "",
        needed=column.filled,
        least=column.ge,
        most=OLDEST - 1 if capped else column.le,
        example=column.example or "",
        why=explain_why(table, column.name),
        versions=column.versions,
        several=column.several,
        codes=dict(codes),
    )
