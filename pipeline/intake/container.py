"""Whether a file may be opened at all: sizes and forms are looked at before any reader unpacks it,
so that no file can fill the memory.

The dangers are those of CWE-409 (small archives that unpack to huge ones), CWE-776 and CWE-611
(entities of XML that grow or fetch files). The limits are ours, with the reason beside each.
"""

import html
import re
import zipfile
from collections.abc import Iterable
from itertools import chain, islice, pairwise
from pathlib import Path

# a delivery has one workbook or five .csv files, and a few that computers leave behind
MOST_FILES = 100
# bytes: a workbook of 20,000 rows a table has 5 million; above it .csv is the form anyway
MOST_PACKED = 50_000_000
MOST_UNPACKED = 150_000_000  # bytes of all parts: the reader needs about seven times as much memory
MOST_PARTS = 1_000  # a workbook has a few parts a sheet
MOST_CELLS = 2_000_000  # in all sheets: five tables of 20,000 rows have half as many
MOST_COLUMNS = 1_000  # the widest table of the dictionary has fewer than 50
MOST_ROWS = 1_048_576  # of a sheet: what a spreadsheet itself allows (published limit of Excel)
# of a part, or of what a sheet holds besides its rows: styles, names, comments of a large workbook
# have a few thousand
MOST_TAGS = 500_000
# a cell with a text or a formula has six, a shared text four or more
TAGS_OF_CELL, TAGS_OF_TEXT = 8, 4
MOST_COVERED = (
    # cells under merged areas, links and comments: the reader makes an object for each, even for
    # empty ones
    1_000_000
)
# characters: what a spreadsheet itself allows in one cell (published limit of Excel)
LONGEST_CELL = 32_767
# bytes of one line of a .csv file: more than MOST_COLUMNS cells of any table
LONGEST_LINE = 1_000_000
MOST_LINES = 10_000_000  # of a .csv file: eight rows an episode, a million episodes, and some
MOST_TEXT = 2_000_000_000  # bytes of one .csv file of that many lines

XML = re.compile(r"\.(?:xml|rels|vml)$", re.IGNORECASE)
STRINGS = re.compile(r"xl/sharedStrings\.xml$", re.IGNORECASE)
XML_START = re.compile(rb"(?:\xef\xbb\xbf)?\s*<[?!\w]")
ENCODING = re.compile(rb"<\?xml[^>]*encoding=[\"']([^\"']*)")
DECLARATION = re.compile(rb"<!(?:DOCTYPE|ENTITY)")
LONG_TEXT = re.compile(
    rb">[^<]{%d}" % (LONGEST_CELL * 4)
)  # bytes; a character has at most four, an entity as &amp; five
ROW = re.compile(rb"<(?:\w+:)?row[\s/>]")
CELL = re.compile(rb"<(?:\w+:)?c[\s/>]")
PREFIXED_CELL = re.compile(rb":c[\s/>]")
STRING = re.compile(rb"<(?:\w+:)?si[\s/>]")
COVERING = re.compile(
    rb"<(?:\w+:)?(?:mergeCell|hyperlink|comment)\s((?:[^>\"']|\"[^\"]*\"|'[^']*')*)"
)
AREA = re.compile(r"""\bref=["']\s*([^"']*:[^"']*?)\s*["']""")
CORNERS = re.compile(r"\$?([A-Z]+)\$?([0-9]+):\$?([A-Z]+)\$?([0-9]+)")


def find_danger(path: Path) -> str | None:
    """Why a table's file (.csv or .xlsx) is not opened, as a sentence;
    None if nothing speaks against it.

    Raises what `zipfile` raises where a workbook is no archive at all.
    """
    return find_in_workbook(path) if path.suffix.lower() == ".xlsx" else find_in_text(path)


def find_in_text(path: Path) -> str | None:
    """The same for a .csv file, line by line."""
    if path.stat().st_size > MOST_TEXT:
        return f"It is larger than {MOST_TEXT:,} bytes."
    with path.open("rb") as file:
        lines = sum(piece.count(b"\n") for piece in iter(lambda: file.read(LONGEST_LINE), b""))
        if lines > MOST_LINES:
            return f"It has more than {MOST_LINES:,} lines."
        file.seek(0)
        while line := file.readline(LONGEST_LINE + 1):
            if len(line) > LONGEST_LINE:
                return f"A line in it is longer than {LONGEST_LINE:,} bytes."
            if (
                len(line) > MOST_COLUMNS
                and max(map(line.count, (b",", b";", b"\t"))) > MOST_COLUMNS
            ):
                return f"A row in it has more than {MOST_COLUMNS:,} columns."
    return None


def find_in_workbook(path: Path) -> str | None:
    """The same for a workbook: first by what its archive says of itself, then part by part."""
    if path.stat().st_size > MOST_PACKED:
        return f"It is larger than {MOST_PACKED:,} bytes."
    with zipfile.ZipFile(path) as archive:
        parts = archive.infolist()
        if len(parts) > MOST_PARTS:
            return f"It has more than {MOST_PARTS:,} parts."
        if len({part.filename.lower() for part in parts}) < len(parts):
            return "It has two parts of the same name."
        # no part yields more than it says
        if sum(part.file_size for part in parts) > MOST_UNPACKED:
            return f"It unpacks to more than {MOST_UNPACKED:,} bytes."
        contents = (
            (part.filename, archive.read(part)) for part in parts if XML.search(part.filename)
        )
        return find_in_parts(contents)


def find_in_parts(contents: Iterable[tuple[str, bytes]]) -> str | None:
    """The same for the parts of a workbook by name."""
    cells = covered = 0
    for name, content in contents:
        tags = content.count(b"<")
        if tags > TAGS_OF_CELL * MOST_CELLS or (
            STRINGS.match(name) and tags > TAGS_OF_TEXT * MOST_CELLS
        ):
            return f"It has more than {MOST_CELLS:,} cells."
        if danger := find_in_xml(name, content):
            return danger
        rows, in_rows, in_one = count_rows(content)  # of any part: a sheet may lie anywhere
        if in_one > MOST_COLUMNS:
            return f"A row in it has more than {MOST_COLUMNS:,} columns."
        if rows > MOST_ROWS:
            return f"A sheet in it has more than {MOST_ROWS:,} rows."
        if not STRINGS.match(name) and tags - TAGS_OF_CELL * in_rows - 2 * rows > MOST_TAGS:
            return f"A part of it has more than {MOST_TAGS:,} elements."
        cells += in_rows
        covered += sum(map(count_covered, COVERING.findall(content)))
        if cells > MOST_CELLS:
            return f"It has more than {MOST_CELLS:,} cells."
        if covered > MOST_COVERED:
            return f"Merged areas, links or comments in it cover more than {MOST_COVERED:,} cells."
    return None


def find_in_xml(name: str, content: bytes) -> str | None:
    """The same for one part as XML: a spreadsheet program writes UTF-8, no declarations of its own,
    and no text beyond its limit."""
    encoding = ENCODING.match(content.lstrip(b"\xef\xbb\xbf \r\n\t"))
    plain = not content or XML_START.match(content)
    if not plain or (encoding and encoding[1].lower() not in (b"utf-8", b"us-ascii", b"ascii")):
        return "A part of it is not written in UTF-8."
    if DECLARATION.search(content):
        return (
            "A part of it declares a document type or entities, which no spreadsheet program does."
        )
    strings = (match.start() for match in STRING.finditer(content)) if STRINGS.match(name) else ()
    longest = max(
        (end - start for start, end in pairwise(chain(strings, [len(content)]))), default=0
    )
    # a text may be written in pieces, each with its font
    if LONG_TEXT.search(content) or longest > LONGEST_CELL * 20:
        return f"A cell in it has more than {LONGEST_CELL:,} characters."
    return None


def count_rows(content: bytes) -> tuple[int, int, int]:
    """Count the rows of a sheet's part, and the cells in them.

    Parameters
    ----------
    content
        The part.

    Returns
    -------
    tuple of int
        How many rows there are, how many cells are in all of them, and in one of them at most, if
        that is not few; rows beyond the most that are allowed are counted once.
    """
    starts = [match.start() for match in islice(ROW.finditer(content), MOST_ROWS + 1)]
    if not starts:
        return 0, 0, 0
    rows = list(pairwise([*starts, len(content)]))
    cells = content.count(b"<c", starts[0])  # quick; others may begin so
    if not PREFIXED_CELL.search(content) and cells == content.count(b"<c ", starts[0]):
        long = (
            content.count(b"<c", start, end)
            for start, end in rows
            if end - start > MOST_COLUMNS * len("<c ")
        )
        return len(rows), cells, max(long, default=0)
    counts = [len(CELL.findall(content, start, end)) for start, end in rows]
    return len(rows), sum(counts), max(counts)


def count_covered(attributes: bytes) -> int:
    """How many cells an element with these attributes covers;
    an area without plain corners counts as too many."""
    area = AREA.search(html.unescape(attributes.decode("utf-8", "replace")))
    if not area:
        return 0
    corners = CORNERS.fullmatch(area[1].upper())
    if not corners:
        return MOST_COVERED + 1
    left, top, right, bottom = corners.groups()
    return (abs(to_position(right) - to_position(left)) + 1) * (
        abs(int(bottom[:9]) - int(top[:9])) + 1
    )


def to_position(letters: str) -> int:
    """The position of a column from its letters: A is 1, AA is 27.

    Letters beyond the fifth change nothing.
    """
    position = 0
    for letter in letters[:5]:
        position = position * 26 + ord(letter) - ord("A") + 1
    return position
