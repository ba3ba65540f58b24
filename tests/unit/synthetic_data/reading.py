"""A small reader of deliveries for the tests, apart from the workflow's own."""

import csv
import io
from itertools import zip_longest
from pathlib import Path

import openpyxl
import pandas as pd

from schemas.columns import Integer, Number
from schemas.delivery import TABLES

Cells = dict[str, list[dict[str, str]]]


def read_cells(delivery: Path) -> Cells:
    """Every table of a delivery as rows of texts; an empty cell is an empty text."""
    books = list(delivery.glob("*.xlsx"))
    if not books:
        return {path.stem: read_csv_cells(path) for path in sorted(delivery.glob("*.csv"))}
    book = openpyxl.load_workbook(books[0], read_only=True)
    tables = {}
    for sheet in book:
        header, *rows = sheet.iter_rows(values_only=True)
        tables[sheet.title] = [
            {name: "" if cell is None else str(cell) for name, cell in zip_longest(header, row)}
            for row in rows
        ]
    return tables


def read_csv_cells(path: Path) -> list[dict[str, str]]:
    text = path.read_bytes().decode("utf-8-sig")
    semicolons = ";" in text.splitlines()[0]
    rows = list(csv.DictReader(io.StringIO(text, newline=""), delimiter=";" if semicolons else ","))
    numbers = {n for t in TABLES.values() for n, d in t.describe().items() if d.dtype == Number}
    return [
        {n: v.replace(",", ".") if semicolons and n in numbers else v for n, v in row.items()}
        for row in rows
    ]


def type_cells(table: str, rows: list[dict[str, str]]) -> pd.DataFrame:
    """Rows of texts with the types of the contract; raises ValueError where a number cannot be
    read."""
    model = TABLES[table]
    typed = {}
    for name, description in model.describe().items():
        given = [row[name] if 1 in description.versions else row.get(name, "") for row in rows]
        texts = pd.Series(given, dtype="string").replace("", pd.NA)
        if name == "age_years":
            texts = texts.replace("90+", "90")
        if description.dtype in (Integer, Number):
            texts = pd.to_numeric(texts)
        typed[name] = texts.astype(description.dtype)
    return pd.DataFrame(typed)
