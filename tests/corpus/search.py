"""Looks for a planted value in everything that was written or printed."""

import html
import re
import unicodedata
import zipfile
from pathlib import Path

import openpyxl
import pyarrow.parquet as pq

from tests.corpus.base import TABLES

INVISIBLE = dict.fromkeys(
    [
        0x200B,
        0x200C,
        0x200D,
        0x200E,
        0x200F,
        0x202A,
        0x202B,
        0x202C,
        0x202D,
        0x202E,
        0x2060,
        0xFEFF,
        0xAD,
    ]
)
ROW_TABLES = (
    "deliveries",
    "episodes",
    "examinations",
    "treatments",
    "followups",
    "set_aside",
    "changes",
    "row_counts",
)


class Text:
    """A text in the forms in which a value may hide: as it is, with escapes resolved,
    without blanks."""

    def __init__(self, text: str) -> None:
        text = re.sub(r"<style.*?</style>", " ", text, flags=re.S)
        text = re.sub(r"\\u([0-9a-fA-F]{4})", lambda hit: chr(int(hit[1], 16)), text)
        self.plain = _even(html.unescape(text))
        self.dense = re.sub(r"\s+", "", self.plain)

    def holds(self, needle: str) -> bool:
        """Whether the value is in it.

        Short values and plain numbers count only where they stand by themselves.
        """
        needle = _even(needle)
        dense = re.sub(r"\s+", "", needle)
        if len(dense) < 5 or re.fullmatch(r"[\d.,+-]+", dense):
            return re.search(rf"(?<![^\W_]){re.escape(needle)}(?![^\W_])", self.plain) is not None
        return dense in self.dense


def _even(text: str) -> str:
    text = unicodedata.normalize("NFKC", text.translate(INVISIBLE)).casefold()
    return "".join(str(unicodedata.decimal(sign)) if sign.isdecimal() else sign for sign in text)


def read_parquet(path: Path) -> str:
    """Every value of a file of rows, and its own description, as text."""
    table = pq.read_table(path)
    cells = (
        str(value) for column in table.columns for value in column.to_pylist() if value is not None
    )
    return "\n".join([*table.column_names, *cells])


def read_written(results: Path, site: str, delivery: str) -> dict[str, Text]:
    """Every file that the intake wrote for a delivery: `stored` for rows,
    `quoted` for what people read."""
    texts = {}
    for path in sorted((results / "rows" / site / delivery).glob("*.parquet")):
        use = "stored" if path.stem in ROW_TABLES else "quoted"
        texts[f"{use}: {path.stem}"] = Text(read_parquet(path))
    for path in sorted((results / "intake" / site / delivery).glob("*")):
        texts[f"quoted: {path.name}"] = Text(path.read_text("utf-8", "replace"))
    return texts


def read_marked(marked: Path, workbook: Path) -> Text:
    """What a marked copy says by itself: comments and sheets that the person's own `workbook` does
    not have."""
    known, sheets = (
        _read_comments(workbook),
        list_sheets(workbook) if workbook.exists() else set(TABLES),
    )
    texts = [text for text in _read_comments(marked) if text not in known]
    for sheet in openpyxl.load_workbook(marked).worksheets:
        if sheet.title not in sheets:
            texts.extend(
                str(cell)
                for row in sheet.iter_rows(values_only=True)
                for cell in row
                if cell is not None
            )
    return Text("\n".join(texts))


def _read_comments(workbook: Path) -> set[str]:
    try:
        book = openpyxl.load_workbook(workbook)
    except Exception:  # a workbook that was made to be hard to read
        return set()
    # one may stand far below
    cells = (cell for sheet in book.worksheets for cell in sheet._cells.values())
    return {cell.comment.text for cell in cells if cell.comment}


def list_sheets(workbook: Path) -> set[str]:
    """The names of the sheets of a workbook, read from its bytes."""
    try:
        with zipfile.ZipFile(workbook) as archive:
            text = archive.read("xl/workbook.xml").decode("utf-8", "replace")
    except (OSError, KeyError, zipfile.BadZipFile):
        return set()
    return {html.unescape(name) for name in re.findall(r'<sheet [^>]*?name="([^"]*)"', text)}
