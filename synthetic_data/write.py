"""Deliveries on disk, the same bytes for the same records: workbooks without dates inside,
and .csv files in two dialects.
"""

import csv
import io
import zipfile
from pathlib import Path

import pandas as pd
from openpyxl import Workbook

from schemas.delivery import OLDEST, TABLES
from schemas.site_map import SiteMap
from synthetic_data.patients import YEARS
from synthetic_data.sites import Site

FIRST_ZIP_DATE = (1980, 1, 1, 0, 0, 0)
CORE = "docProps/core.xml"
NO_PROPERTIES = b'<cp:coreProperties xmlns:cp="http://schemas.openxmlformats.org/package/2006/metadata/core-properties"/>'
MOST_WORKBOOK_ROWS = (
    # beyond it a site hands in .csv: a sheet ends at 1,048,576 rows, and spreadsheets are slow long
    # before
    20_000
)


def to_cells(rows: pd.DataFrame) -> pd.DataFrame:
    """Typed rows as a spreadsheet holds them: whole numbers, numbers, texts, None for empty;
    ages from 90 as the text 90+.
    """
    cells = {}
    for name, values in rows.items():
        plain = values.astype(object).where(values.notna(), None).tolist()
        if values.dtype == pd.Float64Dtype():
            plain = [
                int(value) if value is not None and value == int(value) else value
                for value in plain
            ]
        if name == "age_years":
            plain = [f"{OLDEST}+" if age >= OLDEST else age for age in plain]
        cells[name] = pd.Series(plain, index=rows.index, dtype=object)
    return pd.DataFrame(cells)


def describe(site: Site, delivery: str) -> pd.DataFrame:
    """The submission table of one delivery: a field and its value in each row."""
    fields = {
        "site_code": site.code,
        "delivery": delivery,
        "dictionary_version": site.version,
        "deidentified": "yes",
        "first_year": YEARS[0],
        "last_year": YEARS[1],
        "short_arm_basis": site.short_arm_basis,
    } | plan_of(site)
    return pd.DataFrame({"field": list(fields), "value": list(fields.values())}, dtype=object)


def plan_of(site: Site) -> dict[str, object]:
    """When the site tests again and telephones, as its version of the dictionary asks for it: a
    list of one day is a number."""
    usual = site.usual_confirmation_day
    if site.version == 1:
        return {"usual_confirmation_day": usual}
    days = (usual, *site.later_test_days)
    tests = usual if len(days) == 1 else "; ".join(map(str, days))
    return {"planned_test_days": tests, "planned_call_days": site.call_day}


def keep_to_version(rows: pd.DataFrame, table: str, version: int) -> pd.DataFrame:
    """The columns that a version of the dictionary has."""
    described = TABLES[table].describe()
    return rows[[n for n, d in described.items() if n in rows and version in d.versions]]


def say_in_own_words(cells: dict[str, pd.DataFrame], site_map: SiteMap) -> dict[str, pd.DataFrame]:
    """The tables with a site's own names of tables, columns and codes in the place of the
    dictionary's."""
    names = {table: name for name, table in site_map.tables.items()}
    renamed = {}
    for table, rows in cells.items():
        for column, entries in site_map.codes.get(table, {}).items():
            rows = rows.assign(
                **{column: rows[column].replace({code: entry for entry, code in entries.items()})}
            )
        headers = {column: header for header, column in site_map.columns.get(table, {}).items()}
        renamed[names.get(table, table)] = rows.rename(columns=headers)
    return renamed


def write_delivery(
    folder: Path, site: Site, cells: dict[str, pd.DataFrame], site_map: SiteMap
) -> None:
    """Write one delivery in the site's form and words: `cells` are the four tables as a spreadsheet
    holds them; the folder names the delivery.
    """
    folder.mkdir(parents=True)
    sheets = {"submission": describe(site, folder.name)} | say_in_own_words(cells, site_map)
    if site.form == "xlsx" and max(len(rows) for rows in cells.values()) <= MOST_WORKBOOK_ROWS:
        (folder / f"{site.code}_{folder.name}.xlsx").write_bytes(build_workbook(sheets))
        return
    comma = site.form == "csv_decimal_comma"
    for name, rows in sheets.items():
        (folder / f"{name}.csv").write_bytes(build_csv(rows, decimal_comma=comma))


def build_workbook(sheets: dict[str, pd.DataFrame]) -> bytes:
    """A workbook with one sheet per table.

    Its properties name no author and no date, and its archive carries one fixed date.
    """
    book = Workbook(write_only=True)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        sheet.append(list(rows.columns))
        for row in rows.itertuples(index=False, name=None):
            sheet.append(row)
    saved, steady = io.BytesIO(), io.BytesIO()
    book.save(saved)
    with zipfile.ZipFile(saved) as source, zipfile.ZipFile(steady, "w") as target:
        for name in source.namelist():
            member = zipfile.ZipInfo(name, FIRST_ZIP_DATE)
            member.compress_type, member.create_system = zipfile.ZIP_DEFLATED, 3
            content = NO_PROPERTIES if name == CORE else source.read(name)
            target.writestr(member, content, compresslevel=9)
    return steady.getvalue()


def build_csv(rows: pd.DataFrame, *, decimal_comma: bool = False) -> bytes:
    """UTF-8 text of one table: commas and line feeds, or semicolons, decimal commas,
    byte-order mark and CRLF."""
    text = io.StringIO(newline="")
    writer = csv.writer(
        text,
        delimiter=";" if decimal_comma else ",",
        lineterminator="\r\n" if decimal_comma else "\n",
    )
    writer.writerow(rows.columns)
    columns = [rows[name].tolist() for name in rows.columns]
    if decimal_comma:
        columns = [
            [str(v).replace(".", ",") if isinstance(v, float) else v for v in values]
            for values in columns
        ]
    writer.writerows(zip(*columns, strict=True))
    return text.getvalue().encode("utf-8-sig" if decimal_comma else "utf-8")
