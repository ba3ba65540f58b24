"""The cells of a workbook that only repeat another one, while it is marked:
the library holds each different cell once.

A library that makes an object of every cell needs minutes for a site of 5,000 episodes. Here it
holds the first of the cells that are alike and every cell that is marked; the others are put into
the sheets as they are written, each as the library writes the first (ECMA-376, part 1, 18.3.1.4).
The workbook is the same, byte for byte, as if the library had held them all.
"""

import re
from collections import defaultdict
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import numpy as np
from openpyxl import Workbook
from openpyxl.cell import Cell, MergedCell
from openpyxl.cell._writer import write_cell
from openpyxl.utils import column_index_from_string, get_column_letter
from openpyxl.worksheet.worksheet import Worksheet
from openpyxl.xml.functions import tostring

from pipeline.intake.book_cells import ContentUnknown
from pipeline.intake.thin import Place, Repeated

Rows = tuple[
    np.ndarray, np.ndarray
]  # of a column: row numbers in order, and for each the number of the cell that it repeats

DIMENSION = re.compile(r'(<dimension ref=")[^"]*')
DATA = re.compile(r"<sheetData ?/>|<sheetData>(.*)</sheetData>", re.DOTALL)
ROW = re.compile(r'<row r="(\d+)"([^>]*?)(?: ?/>|>(.*?)</row>)', re.DOTALL)
CELL = re.compile(r'<c r="([A-Z]+)\d+".*?(?=<c r="|\Z)', re.DOTALL)
PLACED = '<c r="A1'


@dataclass
class Repeats:
    """The cells that the library does not hold: `columns` by title of the sheet and position,
    and the `firsts` that they repeat, by number."""

    firsts: list[Cell | None] = field(default_factory=list)
    columns: dict[str, dict[int, Rows]] = field(default_factory=dict)

    def hold(self, sheet: Worksheet, row: int, position: int) -> Cell:
        """The cell at a place, which the library holds from now on."""
        cell = sheet._cells.get((row, position))
        if cell is None:
            cell = sheet.cell(row, position)
            rows, numbers = self.columns.get(sheet.title, {}).get(position, ((), ()))
            at = np.searchsorted(rows, row)
            if at < len(rows) and rows[at] == row:
                fill(cell, self.firsts[numbers[at]])
        return cell

    def complete(self, sheet: Worksheet, written: bytes) -> bytes:
        """A sheet as the library wrote it, with the cells that it does not hold."""
        if not (columns := self.columns.get(sheet.title)):
            return written
        text = written.decode()
        data = next(DATA.finditer(text))
        rows = {
            int(row): (settings, cells or "") for row, settings, cells in ROW.findall(data[1] or "")
        }
        cells = self._join_rows(rows, columns)
        joined = "".join(
            f'<row r="{row}"{rows.get(row, [""])[0]}>{"".join(cells[row])}</row>'
            for row in sorted(cells)
        )
        head = DIMENSION.sub(rf"\g<1>{self._measure(sheet)}", text[: data.start()], count=1)
        return f"{head}<sheetData>{joined}</sheetData>{text[data.end() :]}".encode()

    def _join_rows(
        self, rows: dict[int, tuple[str, str]], columns: dict[int, Rows]
    ) -> dict[int, list[str]]:
        """The cells of each row in their order: those that were written,
        and those that were not."""
        written_at: dict[int, dict[int, str]] = defaultdict(dict)
        for row, (_, written) in rows.items():
            for cell in CELL.finditer(written):
                written_at[column_index_from_string(cell[1])][row] = cell[0]
        cells: dict[int, list[str]] = {row: [] for row in rows}
        cells |= {row: [] for at, _ in columns.values() for row in at.tolist()}
        behind = {
            number: write_behind_place(self.firsts[number]) for number in list_numbers(columns)
        }
        for position in sorted({*written_at, *columns}):
            kept, start = written_at[position], f'<c r="{get_column_letter(position)}'
            at, numbers = columns.get(position, (np.array([]), np.array([])))
            for row, number in zip(at.tolist(), numbers.tolist(), strict=True):
                if row not in kept and (following := behind[number]):
                    cells[row].append(f"{start}{row}{following}")
            for row, text in kept.items():
                cells[row].append(text)
        return cells

    def _measure(self, sheet: Worksheet) -> str:
        """The range of all cells of a sheet."""
        columns = {
            position: at for position, (at, _) in self.columns[sheet.title].items() if len(at)
        }
        rows = [row for row, _ in sheet._cells] + [
            int(row) for at in columns.values() for row in (at[0], at[-1])
        ]
        positions = [position for _, position in sheet._cells] + list(columns)
        first, last = get_column_letter(min(positions)), get_column_letter(max(positions))
        return f"{first}{min(rows)}:{last}{max(rows)}"


def find_repeats(book: Workbook, parts: list[str], repeated: Repeated) -> Repeats:
    """The cells that were left out of a workbook on reading;
    `parts` are those of the archive that hold its sheets.

    What the library made of a place by itself, for a comment or a link, is filled in; a place under
    a merged area stays as it is. Raises ContentUnknown where a cell that others repeat was covered
    or linked, so that the library does not hold what the file says.
    """
    sheets = dict(zip(parts, book.worksheets, strict=True))
    repeats = Repeats([_find_first(sheets, place) for place in repeated.firsts])
    for part, sheet in sheets.items():
        made = defaultdict(list)
        for row, position in sheet._cells:
            made[position].append(row)
        corners = {
            corner
            for area in sheet.merged_cells.ranges
            for corner in ((area.min_row, area.min_col), (area.max_row, area.max_col))
        }
        columns = {}
        for position, places in repeated.places.get(part, {}).items():
            at, numbers = (np.array(values, dtype=np.int64) for values in places)
            again = np.isin(at, made[position])
            for row, number in zip(at[again].tolist(), numbers[again].tolist(), strict=True):
                if (row, position) in corners:  # the frame of a merged area is taken from them
                    raise ContentUnknown
                _settle(sheet._cells[row, position], repeats.firsts[number])
            columns[position] = (at[~again], numbers[~again])
        if any(repeats.firsts[number] is None for number in list_numbers(columns)):
            raise ContentUnknown
        repeats.columns[sheet.title] = columns
    return repeats


def _find_first(sheets: dict[str, Worksheet], place: Place) -> Cell | None:
    part, *at = place
    cell = sheets[part]._cells.get(tuple(at)) if part in sheets else None
    if cell is None or isinstance(cell, MergedCell):
        return None
    linked = cell.hyperlink and cell.value in (cell.hyperlink.target, cell.hyperlink.location)
    return None if linked else cell


def _settle(cell: Cell | MergedCell, first: Cell | None) -> None:
    """Give a cell that the library made what the file says of it;
    nothing of a covered one is shown."""
    if isinstance(cell, MergedCell):
        return
    if first is None:
        raise ContentUnknown
    fill(cell, first)


def fill(cell: Cell, first: Cell) -> None:
    """Make a cell like another one; a link that stands for the text of an empty cell stays."""
    if first.value is not None:
        cell._value, cell.data_type = first._value, first.data_type
    cell._style = copy(first._style)


def list_numbers(columns: dict[int, Rows]) -> Iterator[int]:
    """The numbers of all cells that are repeated in a sheet."""
    numbers = [numbers for _, numbers in columns.values()]
    yield from np.unique(np.concatenate(numbers)).tolist() if numbers else ()


def write_behind_place(first: Cell) -> str:
    """What the library writes of a cell behind its place; nothing where it leaves the cell out."""
    if first._value is None and not first.has_style:
        return ""
    elements: list[Any] = []
    twin = Cell(first.parent, 1, 1, style_array=first._style)
    twin._value, twin.data_type = first._value, first.data_type  # neither its comment nor its link
    write_cell(SimpleNamespace(write=elements.append), first.parent, twin, twin.has_style)
    return tostring(elements[0], encoding="unicode").removeprefix(PLACED)
