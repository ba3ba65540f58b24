"""Adding rows to a workbook and checking it, in the process of a check; what the page says of the
new rows is what the check says of them."""

from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from pipeline.coordinator.append import NotAppended, Rows, append_rows
from pipeline.coordinator.check import NO_SITE, find_folders, find_own, judge_folders
from pipeline.desk.examine import HANDED, find_named
from pipeline.desk.verdict import describe_findings
from pipeline.intake.read import read_delivery
from pipeline.intake.receive import Received
from pipeline.intake.report import answer, name_part
from pipeline.intake.terminal import HEADINGS, describe_part
from schemas.dictionary import list_current_entries
from schemas.study import read_config

KEEPS_OUT = ("refuse", "set_aside")


def enter(connection: Connection, folder: Path, plan: Path, rows: Rows) -> None:
    """Add rows to the workbook that lies in `folder`, check it, and tell of it as pairs: `says`
    what is being done, `entered` what came of the rows, `book` the workbook with them if nothing
    keeps them out."""
    config = read_config(plan)

    def say(text: str) -> None:
        connection.send(("says", text))

    path = find_named(folder / HANDED)
    if not path.is_file():
        connection.send(("entered", {"fault": "no_workbook"}))
        return
    maneuvers = {code: maneuver.name for code, maneuver in config.maneuvers.items()}
    with find_folders(path, config, notify=say) as folders:
        ((place, read),) = folders.items()
        handed = read or read_delivery(place, find_own(place, config), say)
        say("adding the rows")
        try:
            book, first = append_rows(place, handed, rows, list_current_entries(maneuvers))
        except NotAppended as fault:
            connection.send(("entered", {"fault": str(fault)}))
            return
    path.write_bytes(book)
    with find_folders(path, config, notify=say) as folders:
        (judged,) = judge_folders(folders, config, say)
    told = describe_entered(judged.received, first)
    connection.send(("entered", told))
    if told["kept"]:
        connection.send(("book", book))


def describe_entered(received: Received, first: dict[str, int]) -> dict[str, Any]:
    """Describe what the check says of new rows.

    Parameters
    ----------
    received
        The delivery with them.
    first
        By table the row number of the first new one.

    Returns
    -------
    dict
        What it says, `cells` in which something keeps a row out (by table, number of the new row
        from 0 on, and column), whether the rows are `kept`, the sentence on the whole workbook,
        and the name to save it by.
    """
    problems = received.tables["problems"]
    begin = problems["table"].map(first).astype("Float64")
    of_rows = problems[(problems["row"].astype("Float64") >= begin).fillna(False)]
    parts = name_part(of_rows)
    out = of_rows[of_rows["severity"].isin(KEEPS_OUT)].fillna({"column": ""})
    counts = received.tables["row_counts"].set_index("table")["rows_in"]
    site = "workbook" if received.site == NO_SITE else received.site
    return {
        "kept": out.empty,
        "parts": [
            describe_findings(part, heading, describe_part(of_rows[parts.eq(part)]), {})
            for part, heading in HEADINGS.items()
            if parts.eq(part).any()
        ],
        "cells": [
            [table, int(row) - first[table], column]
            for table, row, column in zip(out["table"], out["row"], out["column"], strict=True)
        ],
        "whole": answer(received),
        "name": f"{site}_{counts['episodes']}_episodes.xlsx",
    }
