"""What a sheet holds beside the values of its cells: texts that no cell shows,
and words that belong to no value."""

import html
import re
import zipfile
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

from pipeline.intake.handed import Loose
from pipeline.intake.own_sheets import plain
from pipeline.intake.parts import (
    NUMBER,
    READING,
    REMARK,
    SHEET,
    SHEET_DATA,
    UNSEEN,
    join_runs,
    sweep_tokens,
)

PLAIN_CELL = re.compile(  # whose value the reader takes
    r'<c r="[A-Z]+\d+"(?: s="\d+")?(?: t="(?:n|s|b|e|d)")?(?:/>|>(?:<v>[^<]*</v>)?</c>)'
)
PLAIN_TAG = re.compile(
    r'<c r="[A-Z]+\d+"(?: s="\d+")?(?: t="\w{1,9}")?>|</(?:\w+:)?(?:c|row|sheetData)>'
)
VALUE = re.compile(
    r"<(?:\w+:)?v(?:\s[^>]*)?>(?P<plain>[^<]*)</(?:\w+:)?v>|(?P<inline><(?:\w+:)?is>.*?</(?:\w+:)?is>)|<(?:\w+:)?f(?:\s[^>]*)?>[^<]*</(?:\w+:)?f>",
    re.DOTALL,
)  # a formula is looked at by what a person wrote into it


def list_beside_cells(file: Path | BytesIO, known: set[str]) -> Iterator[Loose]:
    """These texts of a workbook, in which a cell that repeats another one may be left out;
    `known` are the plain texts of cells."""
    with zipfile.ZipFile(file) as archive:
        for name in filter(SHEET.match, archive.namelist()):
            yield from dict.fromkeys(
                sweep_cells(name, archive.read(name).decode("utf-8-sig", "replace"), known)
            )


def sweep_cells(name: str, content: str, known: set[str]) -> Iterator[Loose]:
    """What stands beside the values of a sheet's cells: texts that no cell shows,
    as under a merged area, and words that belong to no value."""
    start = SHEET_DATA.search(content)
    if not start:
        return
    left = PLAIN_CELL.sub(
        "", content[start.start() : content.rfind("<", 0, content.rfind("sheetData>"))]
    )
    for value in VALUE.finditer(left):
        shown = (
            join_runs(READING.sub("", value[0]))
            if value["inline"]
            else html.unescape(value["plain"] or "")
        )
        if shown and plain(shown) not in known and not NUMBER.fullmatch(shown):
            yield Loose(shown, "workbook", UNSEEN, "text")
    yield from sweep_tokens(name, PLAIN_TAG.sub("", REMARK.sub("", VALUE.sub("", left))))
