"""The coordinator's guide on paper: its pictures are of an invented delivery, as a coordinator
would meet it on the way.

The words stand in reports/guide.typ. Sheets of a workbook are drawn from the workbook itself. Parts
of the page are photographs, kept beside the guide with a fingerprint of the page that each is of:
tests/guide_pictures.py takes them, and a test notices when the page has changed since.
"""

import json
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.coordinator.check import choose_target
from pipeline.coordinator.example import list_example
from pipeline.coordinator.marked import MEND, mark_delivery
from pipeline.coordinator.steady import write_steadily
from pipeline.coordinator.template import build_template
from pipeline.intake.own_sheets import SEAL
from pipeline.intake.read import read_delivery
from pipeline.intake.receive import receive_delivery
from pipeline.sources import ROOT
from schemas.study import Config

PICTURES = ROOT / "docs" / "guide"  # tests/guide_pictures.py takes them
SITE, NUMBER = "S99", "001"
# what the invented delivery has wrong: table, its row counted from 0, column, what was typed
SLIPS = (
    ("episodes", 0, "recorded_side", "R"),
    ("examinations", 1, "duration_s", "18 s"),
)
SHOWN = ("episode_id", "age_years", "sex", "recorded_canal", "recorded_side")
ASKED = "recorded_canal"  # the column whose list and hint are shown


def describe_guide(config: Config) -> dict[str, Any]:
    """What the guide shows: pictures of the page, with sizes in CSS pixels and rectangles where
    somebody acts (left, top, width, height), the empty workbook, and the marked copy."""
    maneuvers = {code: maneuver.name for code, maneuver in config.maneuvers.items()}
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / SITE / NUMBER
        folder.mkdir(parents=True)
        handed = folder / f"{SITE}_{NUMBER}.xlsx"
        handed.write_bytes(write_steadily(build_template(maneuvers, list_slips())))
        received = receive_delivery(folder, config)
        marked = Path(temporary) / "marked.xlsx"
        copy = mark_delivery(folder, read_delivery(folder), received)
        assert copy is not None
        marked.write_bytes(copy)
        return {
            "pictures": json.loads((PICTURES / "pictures.json").read_text("utf-8")),
            "template": describe_template(build_template(maneuvers)),
            "file": handed.name,
            "marked_file": choose_target(Path(handed.name), folder, 1).name,
            "marked": describe_marked(load_workbook(marked)),
        }


def list_pictures() -> list[Path]:
    """The pictures of the page, as files."""
    return sorted(PICTURES.glob("*.png"))


def list_slips() -> dict[str, list[dict]]:
    """The example with slips in it, by table."""
    rows = list_example()
    for table, number, column, typed in SLIPS:
        rows[table][number][column] = typed
    return rows


def describe_template(book: Workbook) -> dict[str, Any]:
    """The head of the empty sheet of episodes, with the list and the hint of one column."""
    sheet = book["episodes"]
    letter = get_column_letter([cell.value for cell in sheet[1]].index(ASKED) + 1)
    rule = next(
        rule
        for rule in sheet.data_validations.dataValidation
        if str(rule.sqref).startswith(f"{letter}2:")
    )
    return read_sheet(sheet, SHOWN, (2, 3)) | {
        "hint": rule.prompt,
        "list": rule.formula1.strip('"').split(","),
    }


def describe_marked(book: Workbook) -> dict[str, Any]:
    """The sheet of episodes in a marked copy, with the comment of its first marked cell."""
    return read_sheet(book["episodes"], SHOWN, (2, 3, 4))


def read_sheet(sheet: Worksheet, columns: Sequence[str], numbers: Sequence[int]) -> dict[str, Any]:
    """Some columns and rows of a sheet: letters, texts, which cells are marked,
    and the first comment on them without its seal."""
    header = [cell.value for cell in sheet[1]]
    places = [header.index(column) + 1 for column in columns]
    marks = {
        coordinate
        for area in sheet.conditional_formatting
        if any(rule.dxf and rule.dxf.font == MEND["font"] for rule in area.rules)
        for cells in area.sqref.ranges
        for coordinate in ((row, column) for row, column in cells.cells)
    }
    rows, comment = [], ""
    for number in (1, *numbers):
        cells = [sheet.cell(number, place) for place in places]
        rows.append(
            {
                "number": number,
                "cells": [
                    {
                        "text": "" if cell.value is None else str(cell.value),
                        "marked": (cell.row, cell.column) in marks,
                    }
                    for cell in cells
                ],
            }
        )
        comments = [cell.comment.text.rpartition(SEAL)[0] for cell in cells if cell.comment]
        comment = comment or (comments[0].strip() if comments else "")
    return {
        "letters": [get_column_letter(place) for place in places],
        "rows": rows,
        "comment": comment,
    }
