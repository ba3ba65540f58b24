"""What a coordinator reads at a terminal before sending: the sentence that matters,
then each kind of problem once. No cell is quoted."""

import textwrap
from collections.abc import Iterator

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
            helped = of_part["rule"].eq("read_with_help")
            lines += [
                line for group in list_groups(of_part[~helped]) for line in _say_group(group, width)
            ]
            lines += _say_notes(of_part[helped], width)
    return "\n".join([*lines, "", *textwrap.wrap(say_next(received), width)])


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


def _say_notes(notes: pd.DataFrame, width: int) -> Iterator[str]:
    """What was read with help: each sentence once, with all columns of which it is true."""
    for message, same in notes.groupby("message", sort=False):
        sentence = message.removeprefix(READ_WITH_HELP).strip()
        places = [
            ", ".join(filter(None, place))
            for place in same[["table", "column"]].fillna("").itertuples(index=False)
        ]
        yield from textwrap.wrap(
            f"{sentence} ({'; '.join(dict.fromkeys(places))})",
            width,
            initial_indent="  * ",
            subsequent_indent=INDENT,
        )


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


def _say_group(group: pd.DataFrame, width: int) -> Iterator[str]:
    first = group.iloc[0]
    rows = sorted({int(row) for row in group["row"].dropna()})
    place = ", ".join(filter(None, [first["table"] or "the whole delivery", first["column"]]))
    tables = group.groupby("table", sort=False)["row"].nunique()
    columns = group["column"].nunique()
    if len(tables) == 1 and columns > 1:
        location = f"{first['table']}: {count(len(group), 'cell')} in {columns} columns"
    elif len(tables) > 1:
        location = "; ".join(f"{table}: {count(number, 'row')}" for table, number in tables.items())
    else:
        location = f"{place}: {count(len(rows), 'row')} ({name_ranges(rows)})" if rows else place
    yield from textwrap.wrap(location, width, initial_indent="  * ", subsequent_indent=INDENT)
    yield from textwrap.wrap(
        first["message"], width, initial_indent=INDENT, subsequent_indent=INDENT
    )
    for fix in group["how_to_fix"].drop_duplicates():
        yield from textwrap.wrap(
            f"-> {fix}", width, initial_indent=INDENT, subsequent_indent=INDENT + "   "
        )
