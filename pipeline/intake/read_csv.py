"""Tables from .csv text: UTF-8, comma or semicolon; what is not as the dictionary describes it is read all the same, and said."""

import csv
import hashlib
import io
from itertools import zip_longest

import pandas as pd

from pipeline.intake.handed import Sheet, make_sheet

BYTE_ORDER_MARK = "\ufeff"


def read_csv(content: bytes, name: str, place: str) -> tuple[Sheet, list[str]]:
    """One table, and what was met on reading that the dictionary does not describe.

    Raises UnicodeDecodeError or csv.Error where the content is no such text.
    """
    text = content.decode("utf-8")
    if "\0" in text:
        raise csv.Error("no text")  # the csv module itself would read on
    met = ["It begins with a byte-order mark."] if text.startswith(BYTE_ORDER_MARK) else []
    text = text.removeprefix(BYTE_ORDER_MARK)
    first = text.partition("\n")[0]
    separator = ";" if first.count(";") > first.count(",") else ","
    if separator == ";":
        met.append("Its cells are separated by semicolons.")
    if first.endswith("\r"):
        met.append("Its lines end as on Windows (CRLF).")
    records = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    return arrange_records(records, name, place, hashlib.sha256(content).hexdigest()), met


def arrange_records(records: list[list[str]], name: str, place: str, sha256: str) -> Sheet:
    """A sheet from records in the order of their rows. Short ones are filled up; cells beyond the header are kept apart."""
    width = len(records[0]) if records else 0
    rows = range(1, len(records) + 1)
    body = zip_longest(*(record[:width] for record in records))
    columns = {position: pd.Series(texts, index=rows, dtype=object) for position, texts in enumerate(body, 1)}
    beyond = {
        (row, position): text
        for row, record in zip(rows, records, strict=True)
        for position, text in enumerate(record[width:], width + 1)
    }
    return make_sheet(name, place, columns, beyond, sha256)
