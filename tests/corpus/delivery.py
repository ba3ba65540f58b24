"""One delivery on its way to a folder: the tables, the file form,
and whatever a case does to them."""

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from tests.corpus.base import TABLES, Tables
from tests.corpus.sheet import Raw, Sheet, Styled
from tests.corpus.workbook import Book, zip_parts


@dataclass
class Delivery:
    """A delivery that a case may change before it is written.

    `book_edits` change the book, `part_edits` its parts by name, `byte_edits` the finished archive.
    `text_edits` change the text of a .csv file, by table. `files` are further files, by their place
    from the delivery's folder.
    """

    tables: Tables
    form: str = "xlsx"
    file_name: str | None = None
    folder: str | None = None
    table_names: dict[str, str] = field(default_factory=dict)
    left_out: set[str] = field(default_factory=set)
    separator: str = ","
    encoding: str = "utf-8"
    line_end: str = "\n"
    decimal: str = "."
    quoting: int = csv.QUOTE_MINIMAL
    inline: bool = False
    archive_comment: bytes = b""
    book_edits: list[Callable[[Book], None]] = field(default_factory=list)
    part_edits: list[Callable[[dict[str, bytes]], None]] = field(default_factory=list)
    byte_edits: list[Callable[[bytes], bytes]] = field(default_factory=list)
    text_edits: dict[str, list[Callable[[str], str]]] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)

    @property
    def site(self) -> str:
        """The site's code."""
        return self.tables.site

    def edit_book(self, change: Callable[[Book], None]) -> None:
        """Change the book before it is written; the delivery becomes a workbook if it was none."""
        self.form = "xlsx"
        self.book_edits.append(change)

    def edit_text(self, table: str, change: Callable[[str], str]) -> None:
        """Change the text of one .csv file; the delivery becomes .csv files if it was none."""
        self.form = "csv"
        self.text_edits.setdefault(table, []).append(change)

    def write(self, root: Path) -> Path:
        """Write the delivery below `root` as site/number (or `folder`) and return that folder."""
        folder = root / (self.folder or f"{self.site}/{self.tables.delivery}")
        folder.mkdir(parents=True, exist_ok=True)
        if self.form == "xlsx":
            name = self.file_name or f"{self.site}_{self.tables.delivery}.xlsx"
            (folder / name).write_bytes(self.make_workbook())
        else:
            for table in TABLES:
                if table not in self.left_out:
                    (folder / f"{self.table_names.get(table, table)}.csv").write_bytes(
                        self.make_csv(table)
                    )
        for place, content in self.files.items():
            (folder / place).parent.mkdir(parents=True, exist_ok=True)
            (folder / place).write_bytes(content)
        return folder

    def make_workbook(self) -> bytes:
        """The workbook's bytes."""
        names = [table for table in TABLES if table not in self.left_out]
        book = Book(
            [Sheet(self.table_names.get(name, name), self.tables.rows[name]) for name in names],
            self.inline,
        )
        for change in self.book_edits:
            change(book)
        parts = book.make_parts()
        for change in self.part_edits:
            change(parts)
        archive = zip_parts(parts, self.archive_comment)
        for change in self.byte_edits:
            archive = change(archive)
        return archive

    def make_csv(self, table: str) -> bytes:
        """The bytes of one table as .csv."""
        buffer = io.StringIO()
        writer = csv.writer(
            buffer, delimiter=self.separator, lineterminator=self.line_end, quoting=self.quoting
        )
        for row in self.tables.rows[table]:
            writer.writerow([self._text(value) for value in row])
        text = buffer.getvalue()
        for change in self.text_edits.get(table, []):
            text = change(text)
        return text.encode(self.encoding, "surrogateescape")

    def _text(self, value: object) -> str:
        if value is None or isinstance(value, Raw):
            return ""
        if isinstance(value, Styled):
            value = value.value
        return str(value).replace(".", self.decimal) if isinstance(value, float) else str(value)
