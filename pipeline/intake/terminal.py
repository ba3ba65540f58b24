"""What a coordinator reads at a terminal before sending: the sentence that matters,
then each kind of problem once. No cell is quoted."""

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from pipeline.intake.receive import Received
from pipeline.intake.report import DOUBT, FOLLOWS, answer, count, has_doubts, name_part, name_ranges
from schemas.rules import RULES

HEADINGS = {
    "refuse": "Must be mended before anything can be pooled",
    DOUBT: "Is this meant so? Something may have slipped in the delivery as a whole",
    "set_aside": "Rows that would be set aside",
    "warn": "For your information",
}
INDENT = "    "
# whatever their tables and columns: one thing to mend
TOLD_ONCE = ("word_for_nothing", "pseudonym_too_short", FOLLOWS)
READ_WITH_HELP = RULES["read_with_help"].message


@dataclass(frozen=True)
class Finding:
    """What one kind of problem is told as.

    Attributes
    ----------
    table, column
        Where it is; without a column where it is in several, empty for the delivery as a whole.
    place
        The same in words, with the number of rows.
    rows
        Their numbers in words, if it is in rows of one column.
    message
        What is wrong.
    fixes
        How to mend it: in more than one way where codes differ that may be meant.
    """

    table: str
    column: str
    place: str
    rows: str
    message: str
    fixes: tuple[str, ...]


def describe_check(received: Received, width: int, title: str = "") -> str:
    """Describe the verdict on one delivery for a terminal; it is the workflow's own verdict.

    Parameters
    ----------
    received
        What became of it.
    width
        Columns of the terminal.
    title
        Stands over it where site and number are not told.
    """
    problems = received.tables["problems"]
    lines = [title or f"Site {received.site}, delivery {received.delivery}", ""]
    lines += textwrap.wrap(answer(received), width)
    parts = name_part(problems)
    for part, heading in HEADINGS.items():
        of_part = problems[parts.eq(part)]
        if len(of_part):
            lines += ["", f"{heading}:"]
            findings, notes = describe_part(of_part)
            lines += [line for finding in findings for line in _say_finding(finding, width)]
            for note in notes:
                lines += textwrap.wrap(note, width, initial_indent="  * ", subsequent_indent=INDENT)
    return "\n".join([*lines, "", *textwrap.wrap(say_next(received), width)])


def describe_part(problems: pd.DataFrame) -> tuple[list[Finding], list[str]]:
    """What is told of the problems under one heading: each kind once, then what was read with
    help."""
    helped = problems["rule"].eq("read_with_help")
    findings = [make_finding(group) for group in list_groups(problems[~helped])]
    return findings, list(list_notes(problems[helped]))


def say_next(received: Received) -> str:
    """What the coordinator does next, before anything is sent."""
    if not received.accepted:
        return (
            "Mend what is named here, in your own records as well, and check again. Nothing was "
            "sent anywhere."
        )
    if has_doubts(received):
        return (
            "Check first whether the delivery is meant so: what is named there keeps no row out, "
            "but if it slipped, all of the table is wrong."
        )
    if received.tables["row_counts"]["rows_set_aside"].sum():
        return (
            "Rows that would be set aside enter no analysis until they are mended. Mend them and "
            "check again, or hand in as it is."
        )
    return "Nothing needs to be mended: hand it in."


def list_notes(notes: pd.DataFrame) -> Iterator[str]:
    """What was read with help: each sentence once, with all columns of which it is true."""
    for message, same in notes.groupby("message", sort=False):
        sentence = message.removeprefix(READ_WITH_HELP).strip()
        places = [
            ", ".join(filter(None, place))
            for place in same[["table", "column"]].fillna("").itertuples(index=False)
        ]
        yield f"{sentence} ({'; '.join(dict.fromkeys(places))})"


def list_groups(problems: pd.DataFrame) -> list[pd.DataFrame]:
    """Problems that say the same of the same column: what refuses the delivery first,
    then those with the most rows, and what only follows from others last."""
    named = problems.fillna({"table": "", "column": ""})
    everywhere = named["rule"].isin(TOLD_ONCE)
    place = named["table"] + " " + named["column"]
    groups = [
        group
        for _, group in named.groupby([place.mask(everywhere, ""), "rule", "message"], sort=False)
    ]
    return sorted(groups, key=rank)


def rank(group: pd.DataFrame) -> tuple:
    """The place of problems that say the same among others."""
    first = group.iloc[0]
    return first["severity"] != "refuse", first["rule"] == FOLLOWS, -len(group)


def make_finding(group: pd.DataFrame) -> Finding:
    """One of `list_groups` in words."""
    first = group.iloc[0]
    rows = sorted({int(row) for row in group["row"].dropna()})
    table, column, numbers = first["table"], first["column"], ""
    tables = group.groupby("table", sort=False)["row"].nunique()
    columns = group["column"].nunique()
    if len(tables) == 1 and columns > 1:
        place, column = f"{table}: {count(len(group), 'cell')} in {columns} columns", ""
    elif len(tables) > 1:
        place = "; ".join(f"{table}: {count(number, 'row')}" for table, number in tables.items())
        table = column = ""
    else:
        place = ", ".join(filter(None, [table or "the whole delivery", column]))
        if rows:
            place, numbers = f"{place}: {count(len(rows), 'row')}", name_ranges(rows)
    fixes = tuple(group["how_to_fix"].drop_duplicates())
    return Finding(table, column, place, numbers, first["message"], fixes)


def _say_finding(finding: Finding, width: int) -> Iterator[str]:
    place = f"{finding.place} ({finding.rows})" if finding.rows else finding.place
    yield from textwrap.wrap(place, width, initial_indent="  * ", subsequent_indent=INDENT)
    yield from textwrap.wrap(
        finding.message, width, initial_indent=INDENT, subsequent_indent=INDENT
    )
    for fix in finding.fixes:
        yield from textwrap.wrap(
            f"-> {fix}", width, initial_indent=INDENT, subsequent_indent=INDENT + "   "
        )
