"""Tables as the open standard Table Schema says them, so that any tool can read and check them.

Frictionless Data: Table Schema and Data Package, version 1 (specs.frictionlessdata.io).
"""

from collections.abc import Iterable, Mapping

from schemas.columns import SEPARATOR, Description, Flag, Integer, Number, Table
from schemas.delivery import OLDEST
from schemas.dictionary import (
    CAPPED,
    DELIVERED,
    Entry,
    is_spared,
    list_current_entries,
    say_form,
)

TYPES: dict[type, str] = {Integer: "integer", Number: "number", Flag: "boolean"}
KINDS = {"whole number": "integer", "number": "number"}
MISSING = [""]
AGES = rf"([0-9]|[1-{OLDEST // 10 - 1}][0-9]|{OLDEST}\+)"  # no age from there on is told


def describe_columns(table: type[Table]) -> dict:
    """The Table Schema of one of our own tables.

    Parameters
    ----------
    table
        Its model.

    Returns
    -------
    dict
        `fields`, `primaryKey` where no member of the key may be empty, and `missingValues`.
    """
    described = table.describe()
    schema: dict = {
        "fields": [_describe_column(column) for column in described.values()],
        "missingValues": MISSING,
    }
    if all(described[name].filled for name in table.key()):
        schema["primaryKey"] = table.key()
    return schema


def _describe_column(column: Description) -> dict:
    constraints = {
        "required": column.filled or None,
        "enum": list(column.codes) if column.codes else None,
        "minimum": column.ge,
        "maximum": column.le,
        "pattern": _bracket(column.form),
    }
    return _field(column.name, TYPES.get(type(column.dtype), "string"), column.meaning, constraints)


def describe_delivery(maneuvers: Mapping[str, str]) -> dict:
    """The Data Package of a delivery in five CSV files, without its records.

    Parameters
    ----------
    maneuvers
        The plan's list, code and name.

    Returns
    -------
    dict
        A descriptor whose resources have the Table Schema of each table. The table `submission`
        has a row a field, and what may stand in each is in the data dictionary.
    """
    entries = list_current_entries(maneuvers)
    return {
        "profile": "data-package",
        "name": "delivery",
        "title": "Records that a clinic hands in",
        "resources": [
            {
                "profile": "tabular-data-resource",
                "name": table,
                "path": f"{table}.csv",
                "encoding": "utf-8",
                "schema": _describe_submission()
                if table == "submission"
                else _describe_table(model, (e for e in entries if e.table == table)),
            }
            for table, model in DELIVERED.items()
        ],
    }


def _describe_submission() -> dict:
    names = {"field": "Name of a field of the submission", "value": "What the site says"}
    return {
        "fields": [_field(name, "string", meaning, {}) for name, meaning in names.items()],
        "missingValues": MISSING,
        "primaryKey": ["field"],
    }


def _describe_table(model: type[Table], entries: Iterable[Entry]) -> dict:
    return {
        "fields": [_describe_entry(entry, model.describe()[entry.column]) for entry in entries],
        "missingValues": MISSING,
        "primaryKey": model.key(),
    }


def _describe_entry(entry: Entry, column: Description) -> dict:
    capped = entry.column == CAPPED
    kind = "string" if capped else KINDS.get(entry.kind, "string")
    constraints = {
        "required": (entry.needed and not is_spared(entry)) or None,
        "enum": list(entry.codes) if entry.codes and not entry.several else None,
        "minimum": entry.least if kind != "string" else None,
        "maximum": entry.most if kind != "string" else None,
        "pattern": AGES
        if capped
        else _list_codes(entry.codes)
        if entry.several
        else _bracket(column.form),
    }
    meaning = f"{entry.meaning}. {say_form(entry).capitalize()}. {entry.why}".strip()
    return _field(entry.column, kind, meaning, constraints)


def _list_codes(codes: Iterable[str]) -> str:
    """The pattern of one code or several."""
    one = "|".join(codes)
    return f"({one})({SEPARATOR}({one}))*"


def _bracket(form: str | None) -> str | None:
    """A form as one pattern for the whole text, also where it is of alternatives."""
    return f"({form})" if form else None


def _field(name: str, kind: str, meaning: str, constraints: Mapping[str, object]) -> dict:
    """A field; bounds of whole numbers are whole."""
    said = {
        word: int(value) if kind == "integer" and isinstance(value, float) else value
        for word, value in constraints.items()
        if value is not None
    }
    described: dict = {"name": name, "type": kind, "description": meaning}
    return described | ({"constraints": said} if said else {})
