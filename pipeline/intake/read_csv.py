"""Tables from text files, whatever the program that saved them:
what is not as the dictionary describes it is read all the same, and said."""

import codecs
import csv
import hashlib
import io
import re
from collections.abc import Iterator
from itertools import islice, zip_longest

import pandas as pd
import pyarrow as pa
from pyarrow import csv as arrow_csv

from pipeline.intake.handed import (
    BREAKS,
    LAST_HEADER_ROW,
    Sheet,
    Tidied,
    hold_once,
    make_grid,
    make_sheet,
    name_column,
    name_table,
    tidy,
)
from schemas.site_map import SiteMap

RECORDS_AT_ONCE = 5_000
BYTE_ORDER_MARK = "\ufeff"
UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
SAID_SEPARATOR = re.compile(
    r"sep=([,;\t])\r?\n", re.IGNORECASE
)  # a line for one spreadsheet program, which does not show it
FIRST_LINE = re.compile(".*")  # found so, the rest of a long text is not copied
FIRST_LINES = re.compile(rf"(?:.*\n){{0,{LAST_HEADER_ROW - 1}}}.*")
CONTROLS = [chr(code) for code in (*range(9), *range(14, 32))]  # characters that no table holds


class NoTable(Exception):
    """A text that is no table. The message names a line and quotes nothing."""


def read_csv(content: bytes, name: str, place: str, site_map: SiteMap) -> tuple[Sheet, list[str]]:
    """One table, and what was met on reading that the dictionary does not describe.

    Raises NoTable, UnicodeDecodeError or csv.Error where the content is no such text.
    """
    text, met = decode(content)
    stated = SAID_SEPARATOR.match(text)
    text = text[stated.end() :] if stated else text
    separator = (
        stated[1] if stated else find_separator(text, name_table(name, place, site_map), site_map)
    )
    if separator != ",":
        met.append(f"Its cells are separated by {SEPARATORS[separator]}.")
    if next(FIRST_LINE.finditer(text))[0].endswith("\r"):
        met.append("Its lines end as on Windows (CRLF).")
    sha256 = hashlib.sha256(content).hexdigest()
    if (columns := split_plainly(text, separator)) is not None:
        grid = pd.DataFrame(dict(enumerate(columns, 1)), index=range(1, len(columns[0]) + 1))
        return make_sheet(name, place, grid, {}, {}, sha256, site_map), met
    records = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    return arrange_records(records, name, place, sha256, site_map), met


def decode(content: bytes) -> tuple[str, list[str]]:
    """The text, and what was met: UTF-8 is expected, UTF-16 tells itself by its mark,
    and what is neither is taken for Windows-1252."""
    met = []
    if content.startswith(UTF_16):
        text, met = content.decode("utf-16"), ["It is written in UTF-16."]
    else:
        try:
            text = content.decode("utf-8")
        except UnicodeDecodeError:
            text, met = (
                content.decode("windows-1252"),
                ["It is not written in UTF-8 and was taken for Windows-1252."],
            )
    # the csv module itself would read on
    if controls := [text.index(sign) for sign in CONTROLS if sign in text]:
        line = text.count("\n", 0, min(controls)) + 1
        raise NoTable(
            f"It holds a control character, the first in line {line:,}: delete it, or save the "
            "table again."
        )
    if any(sign in text for sign in BREAKS):
        met.append("Breaks of lines or pages within its cells are read as blanks.")
    if text.startswith(BYTE_ORDER_MARK):
        met.append("It begins with a byte-order mark.")
    return text.removeprefix(BYTE_ORDER_MARK), met


def find_separator(text: str, table: str, site_map: SiteMap) -> str:
    """The sign that parts the cells: the one that yields most names of columns in one of the first
    lines, or else occurs most often in the first."""
    lines = next(FIRST_LINES.finditer(text))[0].split("\n")

    def rate(separator: str) -> tuple[int, int]:
        named = (
            sum(
                bool(name_column(cell.strip().strip('"'), table, site_map))
                for cell in line.split(separator)
            )
            for line in lines
        )
        return max(named), lines[0].count(separator)

    return max(SEPARATORS, key=rate)


def split_plainly(text: str, separator: str) -> list[pd.Categorical] | None:
    """The tidied columns of a table in the plain form, in which no cell is quoted and all lines
    have as many cells, two or more; each different text of a column is made once. None where the
    text has another form: it is split cell by cell."""
    width = next(FIRST_LINE.finditer(text))[0].count(separator) + 1
    if width < 2 or '"' in text or ("\r" in text and text.count("\r") != text.count("\r\n")):
        return None
    content = text.encode()
    names = [str(position) for position in range(width)]
    try:
        table = arrow_csv.read_csv(
            pa.py_buffer(content),
            arrow_csv.ReadOptions(
                use_threads=False, block_size=len(content) + 1, column_names=names
            ),
            arrow_csv.ParseOptions(delimiter=separator, quote_char=False, ignore_empty_lines=False),
            arrow_csv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.dictionary(pa.int32(), pa.string()))
            ),
            pa.system_memory_pool(),  # arrow's own keeps for itself what is free again
        )
    except pa.ArrowInvalid:  # its message quotes a line
        return None
    columns = []
    for column in table.itercolumns():
        part = column.combine_chunks()
        texts = part.dictionary.to_pylist()
        if max(map(len, texts)) > csv.field_size_limit():
            return None
        columns.append(hold_once([tidy(text) for text in texts], part.indices.to_numpy()))
    return columns


def arrange_records(
    records: Iterator[list[str]], name: str, place: str, sha256: str, site_map: SiteMap
) -> Sheet:
    """A sheet from records in the order of their rows.

    Short ones are filled up; cells far beyond the first rows are kept apart.
    """
    first = list(islice(records, LAST_HEADER_ROW))
    width = max(map(len, first), default=0)
    tidied = [Tidied() for _ in range(width)]
    columns: list[list[str | None]] = [[] for _ in range(width)]
    unheaded: dict[tuple[int, int], str] = {}
    rows = 0
    part = first
    while part:  # piece by piece: texts of a long table are held once each, not once for every cell
        for position, texts in enumerate(islice(zip_longest(*part), width)):
            columns[position].extend(map(tidied[position].__getitem__, texts))
        for row, record in enumerate(part, rows + 1):
            if len(record) > width:
                unheaded |= {
                    (row, position): text for position, text in enumerate(record[width:], width + 1)
                }
        rows += len(part)
        for column in columns:
            column.extend([None] * (rows - len(column)))
        part = list(islice(records, RECORDS_AT_ONCE))
    grid = make_grid(dict(enumerate(columns, 1)), range(1, rows + 1))
    return make_sheet(name, place, grid, unheaded, {}, sha256, site_map)
