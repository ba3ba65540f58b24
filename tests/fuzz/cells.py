"""Breaks what stands in tables: cells, rows, columns, sheets, and how a text file is written."""

import csv
import random
from collections.abc import Callable
from datetime import datetime

from tests.corpus.base import TABLES, Tables
from tests.corpus.delivery import Delivery

VALUES = (
    *("", " ", "\u00a0", "NA", "-", "n/a", "?", "0", "-1", "-0", "1e308", "1e400", "nan", "inf"),
    *("٣", "1,5", "1.5", "007", "90+", "+3", "3-5", "1/2", "<1", "1 000", "½", "12:30", "#REF!"),
    *("=1+1", "=cmd|' /C calc'!A0", "@x", "\t", "\n", "a\r\nb", '"', "'", ";", "\x00", "\x1f"),
    *("yes", "no", "right", "left", "unknown", "none", "YES", "Yes ", "yess", "epley", "posterior"),
    *("2024-03-01", "01.02.2024", "45000", "S11", "EP-0001", "x" * 33_000, "🙂", "\u202e1", "ﬁ"),
    *(0, -1, 1, 2, 999, 10**6, 10**19, -(10**9), 0.1, 1e-300, 1.5, True, False, None),
    *(datetime(2024, 3, 1), datetime(1900, 1, 1)),
)
ENCODINGS = ("utf-8-sig", "utf-16", "utf-16-le", "cp1252", "latin-1", "utf-7", "cp437")
Break = Callable[[Delivery, random.Random], None]


def break_tables(delivery: Delivery, draw: random.Random) -> None:
    """Change cells, rows or columns of one table."""
    draw.choice((_cells, _cells, _cells, _swap, _rows, _columns, _header))(
        delivery.tables, draw.choice(TABLES), draw
    )


def _pick(tables: Tables, table: str, draw: random.Random) -> list:
    """One of the records of a table, the header if there is none."""
    rows = tables.rows[table]
    return rows[draw.randrange(1, len(rows))] if len(rows) > 1 else rows[0]


def _cells(tables: Tables, table: str, draw: random.Random) -> None:
    for _ in range(draw.choice((1, 1, 2, 5, 30))):
        row = _pick(tables, table, draw)
        if row:
            row[draw.randrange(len(row))] = draw.choice(VALUES)


def _swap(tables: Tables, table: str, draw: random.Random) -> None:
    """Two cells change places, of one row, of one column, or neither."""
    one, other = _pick(tables, table, draw), _pick(tables, draw.choice((table, *TABLES)), draw)
    if one and other:
        k, m = draw.randrange(len(one)), draw.randrange(len(other))
        one[k], other[m] = other[m], one[k]


def _rows(tables: Tables, table: str, draw: random.Random) -> None:
    rows = tables.rows[table]
    way = draw.randrange(6)
    at = draw.randrange(len(rows))
    if way == 0:
        del rows[at]
        rows or rows.append([])
    elif way == 1:
        rows.insert(draw.randrange(len(rows) + 1), list(rows[at]))
    elif way == 2:
        rows[1:] = draw.sample(rows[1:], len(rows) - 1)
    elif way == 3:
        rows.insert(at, [])
    elif way == 4:
        rows[at] = rows[at][: draw.randrange(len(rows[at]) + 1)]
    else:
        rows[at] = rows[at] + [draw.choice(VALUES) for _ in range(draw.randint(1, 5))]


def _columns(tables: Tables, table: str, draw: random.Random) -> None:
    rows, width = tables.rows[table], len(tables.rows[table][0])
    order = list(range(width))
    way = draw.randrange(3)
    if way == 0:
        draw.shuffle(order)
    elif way == 1 and order:
        order.pop(draw.randrange(width))
    elif order:
        order.insert(draw.randrange(width), draw.randrange(width))
    rows[:] = [[row[k] if k < len(row) else None for k in order] for row in rows]


def _header(tables: Tables, table: str, draw: random.Random) -> None:
    header = tables.rows[table][0]
    if not header:
        return
    at = draw.randrange(len(header))
    name = str(header[at])
    others = (name.upper(), name[:-1], name + " ", name.replace("_", " "), "date of birth", "", 7)
    header[at] = draw.choice((*others, draw.choice(header), draw.choice(VALUES)))


def break_form(delivery: Delivery, draw: random.Random) -> None:
    """Change how the delivery is written, or which files and sheets there are."""
    table = draw.choice(TABLES)
    way = draw.randrange(9)
    if way == 0:
        delivery.separator = draw.choice((";", "\t", "|", " ", ":"))
    elif way == 1:
        delivery.encoding = draw.choice(ENCODINGS)
    elif way == 2:
        delivery.line_end = draw.choice(("\r\n", "\r", "\n\n", "\n\r", "\x0b"))
    elif way == 3:
        delivery.decimal, delivery.quoting = ",", draw.choice((csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC))
    elif way == 4:
        delivery.left_out.add(table)
    elif way == 5:
        names = ("Sheet1", table.upper(), table[:-1], "x" * 31, "episodes", " ", "a'b", table + "2")
        delivery.table_names[table] = draw.choice(names)
    elif way == 6:
        others = ("notes.txt", "more.csv", "withdrawn.csv", "episodes.CSV", "x.xlsm", "a/b.csv")
        delivery.files[draw.choice(others)] = draw.choice((b"", b"a,b\n1,2\n", b"\x00" * 99))
    elif way == 7:
        delivery.inline = not delivery.inline
    else:
        patients = [str(row[1]) for row in delivery.tables.rows["episodes"][1:] if len(row) > 1]
        listed = "\n".join(["patient_id", *draw.sample(patients, min(2, len(patients)))])
        delivery.files["../withdrawn.csv"] = listed.encode("utf-8", "replace")


TABLES_AND_FORM: tuple[Break, ...] = (break_tables, break_tables, break_tables, break_form)
