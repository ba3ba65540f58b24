"""A person who mends what a check names and nothing else: told cells get what was meant,
told columns and rows that are no record go.

Who mends knows what was meant, as a coordinator does, and looks only where the check points: a slip
that is not named stays.
"""

import re
from dataclasses import replace

import pandas as pd
from openpyxl.utils import column_index_from_string

from tests.corpus.base import TABLES, Row, Tables
from tests.corpus.delivery import Delivery

ASKED = re.compile(r"meant for (\w+)")
LETTERS = re.compile(r"column ([A-Z]{1,3})$")


def mend(faulty: Delivery, meant: Tables, problems: pd.DataFrame) -> Delivery:
    """The delivery with the told places mended as `meant`; `problems` are those that keep rows or
    the delivery out."""
    tables = Tables(
        meant.site,
        meant.delivery,
        {name: [list(row) for row in faulty.tables.rows[name]] for name in TABLES},
    )
    to_mend = problems.astype(object).where(problems.notna(), None)
    for table, of_table in to_mend.groupby(to_mend["table"].fillna("")):
        if table == "submission":
            mend_fields(tables.rows[table], meant.rows[table], set(of_table["column"]))
        elif table in TABLES:
            rows, right = tables.rows[table], meant.rows[table]
            rename_columns(rows, right, of_table[of_table["rule"].eq("column_misspelt")])
            others = of_table[of_table["rule"].ne("column_misspelt")]
            mend_table(
                rows, right, list(others[["row", "column"]].itertuples(index=False, name=None))
            )
    # files, sheets, the delivery as a whole
    beyond = {name for name in to_mend["table"] if name not in TABLES}
    named = {
        name
        for name, row, column in to_mend[["table", "row", "column"]].itertuples(index=False)
        if not (row or column)
    }
    kept = {table: name for table, name in faulty.table_names.items() if table not in named}
    mended = replace(faulty, tables=tables, table_names=kept, left_out=faulty.left_out - named)
    if beyond:
        mended = replace(
            mended,
            table_names={},
            left_out=set(),
            files={},
            book_edits=[],
            part_edits=[],
            byte_edits=[],
            archive_comment=b"",
        )
    torn = {name for name in faulty.text_edits if to_mend["table"].eq(name).any()}
    return replace(
        mended,
        text_edits={name: edits for name, edits in faulty.text_edits.items() if name not in torn},
    )


def mend_fields(rows: list[Row], meant: list[Row], fields: set) -> None:
    """Mend the values of the told fields in place."""
    right = {row[0]: row[1] for row in meant[1:]}
    rows[:] = [
        [row[0], right[row[0]]] if row[0] in fields & right.keys() else row
        for row in rows
        if row[0] in {*right, "field"} - fields | right.keys()
    ]
    rows += [[name, right[name]] for name in right.keys() & fields - {row[0] for row in rows}]


def rename_columns(rows: list[Row], meant: list[Row], misspelt: pd.DataFrame) -> None:
    """Give a column that is told as misspelt, and asked whether it is meant for another,
    that name if it is so."""
    for column, *texts in misspelt[["column", "message", "how_to_fix"]].itertuples(index=False):
        asked, (_, place) = ASKED.search(" ".join(texts)), find_column(column, rows[0])
        if place is not None and asked and asked[1] in meant[0]:
            rows[0][place] = asked[1]


def mend_table(rows: list[Row], meant: list[Row], cells: list[tuple]) -> None:
    """Mend one table in place: cells first, then columns, then rows that are no record."""
    header, right = list(rows[0]), list(meant[0])
    extra = sorted(
        {
            int(row)
            for row, column in cells
            if row and is_extra(rows, meant, int(row), known=bool(column))
        }
    )
    gone, missing = set(), set()
    for row, column in cells:
        name, place = find_column(column, header)
        if name in right and place is None:
            missing.add(name)
        elif place is not None and name not in right:
            gone.add(place)
        elif row and int(row) > 1 and int(row) not in extra:
            restore(rows, meant, int(row), name, count_strange(rows, meant, int(row)))
        elif not row and name in right and place is not None:
            for number in range(2, len(rows) + 1):
                restore(rows, meant, number, name, 0)
    for name in sorted(missing, key=right.index):
        for row, other in zip(rows, meant, strict=False):
            row.append(other[right.index(name)])
    for place in sorted(gone, reverse=True):
        for row in rows:
            del row[place : place + 1]
    for number in reversed(extra):
        del rows[number - 1]


def is_extra(rows: list[Row], meant: list[Row], number: int, *, known: bool) -> bool:
    """Whether a told row is no record of what was meant; `known` if it is told by one of its
    columns."""
    surplus = number > 1 and len(rows) > len(meant)
    strange = rows[number - 1][0] not in {row[0] for row in meant} or (
        not known and rows[number - 1] not in meant
    )
    return surplus and (number > len(meant) + count_strange(rows, meant, number) or strange)


def count_strange(rows: list[Row], meant: list[Row], number: int) -> int:
    """How many rows above one are no record of what was meant."""
    keys = {row[0] for row in meant}
    return sum(row[0] not in keys for row in rows[1 : number - 1]) if len(rows) > len(meant) else 0


def find_column(column: str | None, header: Row) -> tuple[str | None, int | None]:
    """The name and the place of a column that is told by its name, or by its letters."""
    header = ["" if name is None else str(name).strip().lower() for name in header]
    lettered = LETTERS.search(column or "")
    if lettered:
        place = column_index_from_string(lettered[1]) - 1
        return (header[place] if place < len(header) else None), place
    return column, header.index(column) if column in header else None


def restore(rows: list[Row], meant: list[Row], number: int, name: str | None, shift: int) -> None:
    """Enter what was meant in a cell, or in all of a row where it is told as a whole,
    or by several columns."""
    name = name if name in meant[0] else None
    if number - 1 >= len(rows) or number - 1 - shift >= len(meant):
        return
    row, right = rows[number - 1], meant[number - 1 - shift]
    row[:] = [*row, *[None] * (len(rows[0]) - len(row))][: len(rows[0])]
    for place, column in enumerate(rows[0]):
        if column in meant[0] and name in (None, column):
            row[place] = right[meant[0].index(column)]
