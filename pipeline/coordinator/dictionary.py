"""The data dictionary in its forms: as content of a page, as Markdown and as .csv.

What it says comes from `schemas/dictionary.py`.
"""

import csv
import io
import re
from collections.abc import Iterator, Mapping

from schemas.codes import SEVERITY
from schemas.columns import DICTIONARY_VERSION, Rule, Severity
from schemas.dictionary import (
    DELIVERED,
    Entry,
    list_entries,
    list_other_rules,
    list_row_rules,
    phrase_openly,
    say_accepted,
    say_form,
    say_need,
    say_table,
    say_versions,
)

CSV_COLUMNS = (
    *(
        "entry",
        "table",
        "column",
        "code",
        "meaning",
        "unit",
        "kind",
        "form",
        "needed",
        "least",
        "most",
        "example",
    ),
    *("why", "versions", "severity", "how_to_fix"),
)
LONG_LIST = 4  # codes from which on they stand in columns
HEADINGS: dict[Severity, str] = {
    "refuse": "What refuses a whole delivery",
    "set_aside": "What sets a row aside",
    "warn": "What is only shown",
}
OPEN_WORDS = (
    "Words in square brackets stand for the name, meaning, unit, codes or bounds of the column "
    "that is concerned."
)


def describe_dictionary(maneuvers: Mapping[str, str]) -> dict:
    """The content of `reports/dictionary.html.j2`: each table with its columns and rules,
    then the rules of no single table."""
    entries = list_entries(maneuvers)
    return {
        "version": DICTIONARY_VERSION,
        "accepted": say_accepted(),
        "severities": SEVERITY,
        "open_words": OPEN_WORDS,
        "tables": [
            {
                "name": table,
                "meaning": say_table(table),
                "key": " + ".join(model.key()),
                "columns": [_describe_entry(entry) for entry in entries if entry.table == table],
                "rules": [_describe_rule(rule) for rule in list_row_rules(table)],
            }
            for table, model in DELIVERED.items()
        ],
        "checks": [
            {
                "severity": severity,
                "heading": heading,
                "rules": [_describe_rule(rule) for rule in list_other_rules(severity)],
            }
            for severity, heading in HEADINGS.items()
        ],
    }


def format_csv(maneuvers: Mapping[str, str]) -> str:
    """One line a column, each followed by a line a code, then a line a rule;
    `entry` says which of them a line is."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, CSV_COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    for entry in list_entries(maneuvers):
        writer.writerows(_list_lines(entry))
    for table in DELIVERED:
        writer.writerows(_list_rule(rule, table) for rule in list_row_rules(table))
    for severity in HEADINGS:
        writer.writerows(_list_rule(rule, "") for rule in list_other_rules(severity))
    return text.getvalue()


def format_markdown(maneuvers: Mapping[str, str]) -> str:
    """The dictionary as Markdown: a heading a table, a smaller one a column, a list of its codes;
    rules as lists."""
    content = describe_dictionary(maneuvers)
    lines = [f"# Data dictionary, version {content['version']}", "", content["accepted"], ""]
    lines += [
        f"- [{table['name']}](#{table['name']}): {table['meaning']}" for table in content["tables"]
    ]
    lines += [
        f"- [{check['heading']}](#{_make_anchor(check['heading'])})" for check in content["checks"]
    ] + [""]
    for table in content["tables"]:
        lines += [
            f"## {table['name']}",
            "",
            _escape(f"{table['meaning']}; one by {table['key']}"),
            "",
        ]
        lines += [line for entry in table["columns"] for line in _write_column(entry)]
        if table["rules"]:
            lines += [
                f"**Rules across columns of {table['name']}**",
                "",
                *map(_write_rule, table["rules"]),
                "",
            ]
    for check in content["checks"]:
        lines += [f"## {check['heading']}", "", f"{SEVERITY[check['severity']]}. {OPEN_WORDS}", ""]
        lines += [*map(_write_rule, check["rules"]), ""]
    return "\n".join(lines).rstrip("\n") + "\n"


def _describe_entry(entry: Entry) -> dict:
    return {
        "name": entry.column,
        "meaning": end_sentence(entry.meaning),
        "form": say_form(entry),
        "need": ", ".join(filter(None, (say_need(entry), say_versions(entry)))),
        "needed": entry.needed,
        "example": entry.example,
        "why": entry.why,
        "codes": [
            {"code": code, "meaning": "" if code == meaning else meaning}
            for code, meaning in entry.codes.items()
        ],
        "long": len(entry.codes) >= LONG_LIST,
    }


def _describe_rule(rule: Rule) -> dict:
    return {
        "name": rule.name,
        "column": rule.column,
        "message": phrase_openly(rule.message),
        "fix": phrase_openly(rule.fix),
        "severity": rule.severity,
    }


def _list_lines(entry: Entry) -> Iterator[dict]:
    place = {"table": entry.table, "column": entry.column}
    yield place | {
        "entry": "column",
        "meaning": entry.meaning,
        "unit": entry.unit,
        "kind": entry.kind,
        "form": entry.form,
        "needed": "yes" if entry.needed else "no",
        "least": "" if entry.least is None else f"{entry.least:.15g}",
        "most": "" if entry.most is None else f"{entry.most:.15g}",
        "example": entry.example,
        "why": entry.why,
        "versions": " ".join(map(str, entry.versions)),
    }
    for code, meaning in entry.codes.items():
        yield place | {"entry": "code", "code": code, "meaning": meaning}


def _list_rule(rule: Rule, table: str) -> dict:
    line = {
        "entry": "rule",
        "table": table,
        "column": rule.column,
        "code": rule.name,
        "severity": rule.severity,
    }
    return line | {"meaning": phrase_openly(rule.message), "how_to_fix": phrase_openly(rule.fix)}


def _write_column(entry: dict) -> list[str]:
    example = f" Example: `{entry['example']}`." if entry["example"] else ""
    form = entry["form"][0].upper() + entry["form"][1:]
    lines = [f"### `{entry['name']}`", "", _escape(entry["meaning"]), ""]
    lines += [
        f"{_escape(form)}; {entry['need']}.{example}",
        "",
        f"Why: {_escape(entry['why'])}",
        "",
    ]
    codes = [
        f"- `{c['code']}`" + (f": {_escape(c['meaning'])}" if c["meaning"] else "")
        for c in entry["codes"]
    ]
    return [*lines, *codes, ""] if codes else lines


def _write_rule(rule: dict) -> str:
    return (
        f"- `{rule['name']}` ({rule['severity']}): {_escape(rule['message'])} "
        f"*{_escape(rule['fix'])}*"
    )


def _escape(text: str) -> str:
    """A text that Markdown shows as it is."""
    return re.sub(r"([\\`*<>|])", r"\\\1", text)


def _make_anchor(heading: str) -> str:
    return heading.lower().replace(" ", "-")


def end_sentence(text: str) -> str:
    """A meaning as a sentence of its own."""
    return text if text.endswith(".") else f"{text}."
