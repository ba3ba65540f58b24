"""A workbook without the cells that only repeat another one,
so that the library reads each different cell once.

Nothing is read here: what a cell holds is for the library to say. A cell whose text in the file is
that of an earlier one, but for its place, is left out and remembered by that one. Only sheets in
the plain form in which spreadsheet programs write them are thinned (ECMA-376, part 1, 18.3.1: rows
and cells in order, each with its place first); any other workbook is left as it is.
"""

import io
import re
import zipfile
import zlib
from array import array
from dataclasses import dataclass, field

from pipeline.intake.container import to_position
from pipeline.intake.parts import SHEET

PLAIN_CELL = re.compile(
    rb'(?: [\w:]+="[^"<>]*")*(?:/>| />|>(?:<v>[^<]*</v>|<is><t(?: '
    rb'xml:space="preserve")?>[^<]*</t></is>)?</c>)'
)
OTHER_CELL = re.compile(
    rb'(?: [\w:]+="[^"<>]*")*>(?:(?!</?c[\s>/]).)*</c>', re.DOTALL
)  # with a formula, or a text in runs
EMPTY_CELL = re.compile(rb'(?: [\w:]+="[^"<>]*")* ?/>')
FIRST_ROWS = 20  # titles and groups of columns take fewer
CELL_ELSEWHERE = re.compile(rb"<(?:\w+:)?c\s")
LETTERS = re.compile(rb"[A-Z]{1,3}")
ROW = re.compile(rb'(<row r="(\d{1,7})")([^<>]*)>')
PLAIN_ROW = re.compile(rb'(?: spans="[^"]*"| \w+:\w+="[^"]*")* ?/?')  # says nothing of its own
START, END, CELL, ROW_END = b"<sheetData>", b"</sheetData>", b'<c r="', b"</row>"

Place = tuple[str, int, int]  # part of the archive, row, position


class NotPlain(Exception):
    """A sheet is not written in the plain form."""


@dataclass
class Repeated:
    """The cells that were left out of a workbook since they repeat others.

    Attributes
    ----------
    firsts
        Places of the cells that are repeated, by number.
    empty
        Numbers of those that hold nothing.
    places
        By part and position the rows of the cells that were left out, in order, and for each the
        number of the cell that it repeats.
    in_order
        Parts in which no cell is written twice.
    """

    firsts: list[Place] = field(default_factory=list)
    empty: set[int] = field(default_factory=set)
    places: dict[str, dict[int, tuple[array, array]]] = field(default_factory=dict)
    in_order: set[str] = field(default_factory=set)


def thin(archive: zipfile.ZipFile, *, to_write: bool = False) -> tuple[io.BytesIO, Repeated] | None:
    """Leave out the repeated cells of a workbook's sheets.

    Parameters
    ----------
    archive
        The workbook.
    to_write
        Whether it will be written again: then it keeps its first rows whole, in which titles are
        merged, and every row that says something of its height and the like; of one that is only
        read one such row tells enough.

    Returns
    -------
    tuple or None
        The workbook without these cells, and these; None where a sheet is not written in the plain
        form.
    """
    numbers: dict[bytes, int] = {}
    repeated, target = Repeated(), io.BytesIO()
    try:
        with zipfile.ZipFile(target, "w") as copy:
            for name in archive.namelist():
                content = archive.read(name)
                if SHEET.match(name):
                    content = _Sheet(name, repeated, numbers, to_write=to_write).thin(content)
                copy.writestr(name, content)
    except (NotPlain, zipfile.BadZipFile, zlib.error):
        return None
    return target, repeated


class _Sheet:
    """One sheet while it is thinned; `numbers` are those of all cells that were met,
    by their text in the file."""

    def __init__(
        self, part: str, repeated: Repeated, numbers: dict[bytes, int], *, to_write: bool
    ) -> None:
        self.part, self.repeated, self.numbers, self.to_write = part, repeated, numbers, to_write
        self.columns: dict[bytes, tuple[int, array, array]] = {}
        self.places = repeated.places.setdefault(part, {})
        self.last = 0
        self.settings: set[bytes] = set()

    def thin(self, content: bytes) -> bytes:
        """The sheet without its repeated cells; raises NotPlain."""
        start, end = content.find(START), content.rfind(END)
        if start < 0 and end < 0:
            return content
        start += len(START)
        if end < start or b"<!" in content or b"<?" in content[start:end]:
            raise NotPlain
        if not CELL_ELSEWHERE.search(content[:start] + content[end:]):
            self.repeated.in_order.add(self.part)
        *rows, behind = content[start:end].split(ROW_END)
        kept = [part for row in rows for part in self.keep_row(row, closed=True)]
        kept += self.keep_row(behind, closed=False)
        return b"".join([content[:start], *kept, content[end:]])

    def keep_row(self, written: bytes, *, closed: bool) -> list[bytes]:
        """What stays of a row, and of rows without cells before it: settings that are new,
        and cells that are new or not plain.

        `closed` says whether a row ends here; behind the last one only rows without cells may
        stand.
        """
        kept = []
        while row := ROW.match(written):
            number, settings = int(row[2]), row[3]
            if number <= self.last:
                raise NotPlain
            self.last, written = number, written[row.end() :]
            is_empty = settings.endswith(b"/")
            cells = [] if is_empty else self.keep_cells(row[2], written)
            has_settings = self.to_write and not PLAIN_ROW.fullmatch(settings)
            if cells or has_settings or settings not in self.settings:
                kept += [row[0]] if is_empty else [row[0], *cells, ROW_END]
                self.settings.add(settings)
            if not is_empty:
                break
        if bool(row) != closed or (written and not row):
            raise NotPlain
        return kept

    def keep_cells(self, row: bytes, written: bytes) -> list[bytes]:
        """The cells of a row that stay."""
        nothing, *cells = written.split(CELL)
        if nothing:
            raise NotPlain
        kept, last, number = [], 0, int(row)
        is_kept_row = self.to_write and number <= FIRST_ROWS
        # looked up once, for a million cells
        find_column, find_first = self.columns.get, self.numbers.get
        for cell in cells:
            place, _, text = cell.partition(b'"')
            letters = place.removesuffix(row)
            position, rows, firsts = find_column(letters) or self.add_column(letters)
            if position <= last:
                raise NotPlain
            last = position
            if (first := find_first(text)) is None or is_kept_row:
                kept.append(CELL + cell)
                self.remember(text, number, position, whole=is_kept_row)
            else:
                rows.append(number)
                firsts.append(first)
        return kept

    def remember(self, text: bytes, row: int, position: int, *, whole: bool) -> None:
        """Number a cell that was not met before, if it is plain and not in a row that is kept
        `whole`."""
        if PLAIN_CELL.fullmatch(text):
            if whole:
                return
            self.numbers[text] = number = len(self.repeated.firsts)
            self.repeated.firsts.append((self.part, row, position))
            if EMPTY_CELL.fullmatch(text):
                self.repeated.empty.add(number)
        elif not OTHER_CELL.fullmatch(text):
            raise NotPlain

    def add_column(self, letters: bytes) -> tuple[int, array, array]:
        """A column that was not met before."""
        if not LETTERS.fullmatch(letters):
            raise NotPlain
        position = to_position(letters.decode())
        self.columns[letters] = column = (position, array("I"), array("I"))
        self.places[position] = column[1:]
        return column
