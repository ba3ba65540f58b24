"""Files that are made to fill the memory or to read other files,
each in a folder .../<attack>/S01/001; run as a program, it hands them in.

Kinds of attack: CWE-409 (archives that unpack to far more), CWE-776 (entities that grow), CWE-611
(entities that read files).
"""

import io
import json
import re
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

from schemas.delivery import TABLES
from tests.unit.intake.conftest import build_book, plain_tables, to_grids, write_csv

SHEET = "xl/worksheets/sheet2.xml"
LAUGHS = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))


def change_parts(folder: Path, change: Callable[[dict[str, bytes]], None], level: int = 1) -> Path:
    """A workbook whose parts were changed."""
    saved = io.BytesIO()
    build_book(to_grids(plain_tables())).save(saved)
    with zipfile.ZipFile(saved) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    change(parts)
    folder.mkdir(parents=True)
    path = folder / "S01_001.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=level) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return path


def in_sheet(
    before: bytes, planted: bytes, times: int = 1, around: tuple[bytes, bytes] = (b"", b"")
) -> Callable[[Path], object]:
    """Something put into a sheet many times, before a tag."""

    def change(parts):
        parts[SHEET] = parts[SHEET].replace(
            before, around[0] + planted * times + around[1] + before
        )

    return lambda folder: change_parts(folder, change)


def as_part(
    name: str, start: bytes, repeated: bytes = b"", times: int = 0
) -> Callable[[Path], object]:
    """A part added, or put in the place of another; it is made when it is needed,
    since it is large."""
    return lambda folder: change_parts(
        folder, lambda parts: parts.update({name: start + repeated * times})
    )


def in_csv(write: Callable[[Path], object]) -> Callable[[Path], object]:
    """The table of contacts written in some other way."""
    return lambda folder: write(write_csv(folder, to_grids(plain_tables())) / "followups.csv")


def share_content(folder: Path) -> None:
    """Many entries of the archive that are all the same bytes of the file."""
    path = change_parts(folder, lambda parts: None)
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/theme/theme2.xml", b" " * 1_000_000)
        for number in range(900):
            again = zipfile.ZipInfo.from_file(path, f"xl/theme/again{number}.xml")
            whole = archive.getinfo("xl/theme/theme2.xml")
            for attribute in (
                "header_offset",
                "file_size",
                "compress_size",
                "CRC",
                "compress_type",
            ):
                setattr(again, attribute, getattr(whole, attribute))
            archive.filelist.append(again)


def understate(folder: Path) -> None:
    """An archive that says of a part of 160 million bytes that it has 1,000."""
    path = as_part("xl/theme/theme2.xml", b"<a>", b" ", 160_000_000)(folder)
    content = path.read_bytes()
    path.write_bytes(
        content.replace((160_000_003).to_bytes(4, "little"), (1_000).to_bytes(4, "little"))
    )


def declare(encoding: str, declaration: str) -> bytes:
    return (
        f'<?xml version="1.0" encoding="{encoding}"?><!DOCTYPE sst '
        f"[{declaration}]><sst><si><t>&l9;</t></si></sst>"
    ).encode(encoding)


def nest(depth: int) -> bytes:
    content = b"0" * 10_000_000
    for _ in range(depth):
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for number in range(10):
                archive.writestr(f"{number}.zip", content)
        content = packed.getvalue()
    return content


CELL_OF_TEXT = (b'<row r="90"><c r="A90" t="inlineStr"><is><t>', b"</t></is></c></row>")
EVERYWHERE = b'ref="A1:XFD1048576"'
ATTACKS: dict[str, Callable[[Path], object]] = {
    "zip bomb": as_part("xl/theme/theme2.xml", b"<a>", b" ", 160_000_000),
    "shared bytes": share_content,
    "understated size": understate,
    "many parts": lambda folder: change_parts(
        folder, lambda p: p.update({f"xl/theme/t{n}.xml": b"" for n in range(5_000)})),
    "nested archives": as_part("xl/embeddings/more.zip", nest(3)),
    "million columns": in_sheet(b"</sheetData>", b"<c><v>1</v></c>", 1_000_000,
                                (b"<row>", b"</row>")),
    "million rows": in_sheet(b"</sheetData>", b"<row/>", 3_000_000),
    "million cells": in_sheet(
        b"</sheetData>", b"<row>" + b"<c><v>1</v></c>" * 900 + b"</row>", 4_000),
    "million column widths": in_sheet(b"<sheetData>", b'<col min="1" max="2"/>', 3_000_000,
                                      (b"<!--sheetData-->", b"")),
    "long cell": in_sheet(b"</sheetData>", b"Quillfeather ", 800_000, CELL_OF_TEXT),
    "huge shared strings": as_part("xl/sharedStrings.xml", b"<sst>", b"<si><t>a</t></si>",
                                   6_000_000),
    "merged area": in_sheet(b"</worksheet>",
                            b"<mergeCells><mergeCell %b/></mergeCells>" % EVERYWHERE),
    "link area": in_sheet(b"</worksheet>",
                          b'<hyperlinks><hyperlink display=">" %b location="A1"/></hyperlinks>'
                          % EVERYWHERE),
    "link to whole columns": in_sheet(
        b"</worksheet>", b'<hyperlinks><hyperlink ref="A&#58;XFD" location="A1"/></hyperlinks>'),
    "growing entities": as_part("xl/workbook.xml",
                                declare("utf-8", '<!ENTITY l0 "Quillfeather">' + LAUGHS)),
    "growing entities in utf-16": as_part(
        "xl/workbook.xml", declare("utf-16", '<!ENTITY l0 "Quillfeather">' + LAUGHS)),
    "external entity": as_part("xl/sharedStrings.xml",
                               declare("utf-8", '<!ENTITY l9 SYSTEM "file:///etc/passwd">')),
    "external document type": as_part("docProps/app.xml",
                                      b'<!DOCTYPE a SYSTEM "http://192.0.2.17/a.dtd"><a/>'),
    "columns of csv": in_csv(lambda path: path.write_bytes(b"," * 900_000)),
    "line of csv": in_csv(lambda path: path.write_bytes(b"x" * 200_000_000)),
    "lines of csv": in_csv(lambda path: path.write_bytes(b"\n" * 30_000_000)),
    "cell of csv": in_csv(lambda path: path.write_bytes(
        b'episode_id,day\n"' + b"Quillfeather\n" * 800_000 + b'"')),
    "quotes of csv": in_csv(lambda path: path.write_bytes(
        b'episode_id,day\n"' + b"a\n" * 2_000_000)),
}  # fmt: skip


def hand_in(root: Path) -> None:
    """Take in every delivery beneath `root` and print what became of it, as a line of JSON each;
    the memory is the most that was in use so far."""
    from pipeline.intake.receive import receive_delivery
    from schemas.study import read_config

    plan = read_config(Path(__file__).parents[3] / "config")
    for folder in sorted(root.iterdir()):
        began = time.process_time()
        received = receive_delivery(folder / "S01" / "001", plan)
        outcome = {"attack": folder.name, "seconds": time.process_time() - began}
        outcome["rows"] = sum(len(received.tables[name]) for name in TABLES)
        outcome["rules"] = sorted(
            set(received.tables["problems"].query("severity == 'refuse'")["rule"])
        )
        outcome["kilobytes"] = int(
            re.search(r"VmHWM:\s*(\d+)", Path("/proc/self/status").read_text())[1]
        )
        outcome["text"] = " ".join(rows.to_csv() for rows in received.tables.values())
        print(json.dumps(outcome), flush=True)


if __name__ == "__main__":
    hand_in(Path(sys.argv[1]))
