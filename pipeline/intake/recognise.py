"""Sheets that are called otherwise than a table, and have its columns: they are read as that table,
so that one check tells all that is in them."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TypeVar

from pipeline.intake.handed import KNOWN_COLUMNS, Loose, Sheet, name_column
from pipeline.intake.problem import Problem
from schemas.codes import TABLE
from schemas.site_map import SiteMap

MOST = 0.6  # of a table's columns: no two tables share half of theirs
BY_COLUMNS = "Its sheet or file is called otherwise; it was recognised by its columns."
Placed = TypeVar("Placed", Loose, Problem)


def recognise_sheets(sheets: Sequence[Sheet], site_map: SiteMap) -> dict[str, Sheet]:
    """By the name that a sheet came under, the sheet as the table that it must be:
    the table is not there by name, and no other sheet could be it."""
    named = {sheet.table for sheet in sheets}
    candidates_of: dict[str, list[tuple[str, Sheet]]] = {}
    for sheet in sheets:
        if sheet.table not in TABLE:
            for table in set(TABLE) - named:
                names = {
                    position: name
                    for position, text in sheet.header.items()
                    if (name := name_column(text, table, site_map))
                }
                if len(names) >= MOST * len(KNOWN_COLUMNS[table]) and len(names) > 2:
                    codes = {
                        position: entries
                        for position, name in names.items()
                        if (entries := site_map.entries_of(table, name))
                    }
                    candidates_of.setdefault(table, []).append(
                        (sheet.table, replace(sheet, table=table, names=names, codes=codes))
                    )
    return dict(candidates[0] for candidates in candidates_of.values() if len(candidates) == 1)


def rename(placed: Sequence[Placed], known: dict[str, Sheet]) -> Iterator[Placed]:
    """The same texts or problems, placed in the tables that their sheets are."""
    for each in placed:
        yield replace(each, table=known[each.table].table) if each.table in known else each
