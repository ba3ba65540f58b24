"""The data dictionary, once for all its forms: every table and column with its meaning, unit, codes, limits, example, and why it is asked for."""

import csv
import io

from pipeline.intake.problem import DESCRIBED
from schemas.codes import SEVERITY, TABLE
from schemas.columns import RULES, Description, Integer, Number
from schemas.delivery import DICTIONARY_VERSION
from schemas.reasons import explain_why

COLUMNS = ["table", "column", "meaning", "unit", "form", "needed", "allowed", "least", "most", "example", "why"]


def list_entries() -> list[dict]:
    """One entry a column, in the order of the tables, with the keys COLUMNS; `allowed` lists codes with their meanings."""
    return [_describe(table, column) for table, columns in DESCRIBED.items() for column in columns.values()]


def describe_dictionary() -> dict:
    """The content of `reports/dictionary.html.j2`: tables with their columns, and what the checks ask across columns."""
    entries = list_entries()
    rules = [rule for rule in RULES.values() if rule.column]
    return {
        "version": DICTIONARY_VERSION,
        "tables": [
            {
                "name": name,
                "meaning": TABLE.get(name, "what the delivery says of itself"),
                "columns": [e for e in entries if e["table"] == name],
            }
            for name in DESCRIBED
        ],
        "rules": [
            {
                "column": rule.column,
                "message": _fill(rule.message),
                "fix": _fill(rule.fix),
                "severity": SEVERITY[rule.severity],
            }
            for rule in rules
        ],
    }


def format_csv() -> str:
    """The dictionary as .csv text, one line a column."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COLUMNS, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(
        {**entry, "allowed": "; ".join(f"{c['code']}: {c['meaning']}" for c in entry["allowed"])}
        for entry in list_entries()
    )
    return text.getvalue()


def format_markdown() -> str:
    """The dictionary as Markdown: a heading a table, a paragraph a column, a list of its codes."""
    content = describe_dictionary()
    lines = [f"# Data dictionary, version {content['version']}", ""]
    for table in content["tables"]:
        lines += [f"## {table['name']}", "", table["meaning"], ""]
        for entry in table["columns"]:
            lines += [
                f"### {entry['column']}",
                "",
                f"{entry['meaning']}. {say_form(entry)}",
                "",
                f"*Why:* {entry['why']}",
                "",
            ]
            lines += [f"- `{code['code']}`: {code['meaning']}" for code in entry["allowed"]] + [""] * bool(
                entry["allowed"]
            )
    return "\n".join(lines)


def say_form(entry: dict) -> str:
    """The form of a column's cells in one sentence."""
    parts = [entry["form"], f"in {entry['unit']}" if entry["unit"] else ""]
    parts += [say_limits(entry), entry["needed"]]
    parts.append(f"for example {entry['example']}" if entry["example"] else "")
    said = ", ".join(part for part in parts if part)
    return said[:1].upper() + said[1:] + "."


def say_limits(entry: dict) -> str:
    """The limits of a column's numbers in words, or nothing."""
    least, most = entry["least"], entry["most"]
    if least and most:
        return f"from {least} to {most}"
    return f"at least {least}" if least else f"at most {most}" if most else ""


def _describe(table: str, column: Description) -> dict:
    form = (
        "one of the listed codes"
        if column.codes
        else (column.form_words or {Integer: "whole number", Number: "number"}.get(type(column.dtype), "text"))
    )
    entry = {
        "table": table,
        "column": column.name,
        "meaning": column.meaning,
        "unit": column.unit or "",
        "form": form,
        "needed": "must be filled" if column.filled else "may be empty",
        "allowed": [{"code": code, "meaning": meaning} for code, meaning in (column.codes or {}).items()],
        "least": "" if column.ge is None else f"{column.ge:g}",
        "most": "" if column.le is None else f"{column.le:g}",
        "example": column.example or "",
        "why": explain_why(table, column.name),
    }
    return entry | {"limits": say_limits(entry)}


def _fill(sentence: str) -> str:
    """A rule's sentence without a column to fill it."""
    return sentence.format_map(_Plain())


class _Plain(dict):
    def __missing__(self, key: str) -> str:
        return {"column": "the column", "meaning": "its meaning", "allowed": "the listed codes"}.get(key, key)
