"""Places in the archive that a workbook is, and between the lines of its parts."""

import io
import struct
import warnings
import zipfile
from xml.sax.saxutils import escape

from tests.corpus.delivery import Delivery
from tests.corpus.planted import SHORT, TEXT, Planted, as_text, place, short

NAME = short(60, '/\\:*?"<>|\0')
EPISODES = "xl/worksheets/sheet2.xml"


def edit_parts(delivery: Delivery, change) -> None:
    """Change the parts before they are put into the archive."""
    delivery.form = "xlsx"
    delivery.part_edits.append(change)


def edit_bytes(delivery: Delivery, change) -> None:
    """Change the finished archive."""
    delivery.form = "xlsx"
    delivery.byte_edits.append(change)


def rezip(archive: bytes, change) -> bytes:
    """The archive written anew; `change(info, writer)` may alter each entry's description."""
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(archive)) as old,
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for info in old.infolist():
            content = old.read(info)
            change(info)
            new.writestr(info, content, zipfile.ZIP_DEFLATED)
    return buffer.getvalue()


@place("between the lines of a part", TEXT, as_text)
def comment_in_sheet(delivery: Delivery, planted: Planted):
    def change(parts):
        note = f"<!-- {planted.text.replace('--', '- ')} -->".encode()
        parts[EPISODES] = parts[EPISODES].replace(b"<sheetData>", note + b"<sheetData>")

    edit_parts(delivery, change)


@place("between the lines of a part", TEXT, as_text)
def comment_after_root(delivery: Delivery, planted: Planted):
    def change(parts):
        parts["xl/workbook.xml"] += f"<!-- {planted.text.replace('--', '- ')} -->".encode()

    edit_parts(delivery, change)


@place("between the lines of a part", SHORT, short(80))
def processing_instruction(delivery: Delivery, planted: Planted):
    def change(parts):
        parts[EPISODES] = parts[EPISODES].replace(
            b"<worksheet", f"<?note {planted.text}?>".encode() + b"<worksheet", 1
        )

    edit_parts(delivery, change)


@place("between the lines of a part", TEXT, as_text)
def text_between_elements(delivery: Delivery, planted: Planted):
    def change(parts):
        parts[EPISODES] = parts[EPISODES].replace(
            b"</row>", escape(planted.text).encode() + b"</row>", 2
        )

    edit_parts(delivery, change)


@place("between the lines of a part", TEXT, as_text)
def foreign_attribute(delivery: Delivery, planted: Planted):
    def change(parts):
        value = escape(planted.text, {'"': "&quot;", "\n": " "})
        parts[EPISODES] = parts[EPISODES].replace(
            b"<sheetData>", f'<sheetData xmlns:o="urn:own" o:by="{value}">'.encode()
        )

    edit_parts(delivery, change)


@place("between the lines of a part", {"name", "number", "email"}, short(80))
def entity_of_document_type(delivery: Delivery, planted: Planted):
    def change(parts):
        start = parts[EPISODES].index(b"<worksheet")
        entity = f'<!DOCTYPE worksheet [<!ENTITY who "{escape(planted.text)}">]>'.encode()
        parts[EPISODES] = parts[EPISODES][:start] + entity + parts[EPISODES][start:]

    edit_parts(delivery, change)


@place("name of a part", {"name", "number", "date"}, NAME)
def part_name_of_folder(delivery: Delivery, planted: Planted):
    edit_parts(delivery, lambda parts: parts.update({f"{planted.text}/": b""}))


@place("name of a part", {"name", "number"}, short(30, "/\\:*?\"<>|&' "))
def part_name_of_sheet(delivery: Delivery, planted: Planted):
    def change(parts):
        new = f"xl/worksheets/{planted.text}.xml"
        parts[new] = parts.pop(EPISODES)
        for name in ("[Content_Types].xml", "xl/_rels/workbook.xml.rels"):
            parts[name] = parts[name].replace(EPISODES.encode(), new.encode())

    edit_parts(delivery, change)


@place("another entry", TEXT)
def entry_of_text(delivery: Delivery, planted: Planted):
    edit_parts(delivery, lambda parts: parts.update({"readme.txt": planted.text.encode()}))


@place("another entry", TEXT)
def entry_of_csv(delivery: Delivery, planted: Planted):
    edit_parts(
        delivery,
        lambda parts: parts.update({"xl/backup/episodes.csv": f"name\n{planted.text}\n".encode()}),
    )


@place("another entry", TEXT)
def entry_of_mac_folder(delivery: Delivery, planted: Planted):
    edit_parts(
        delivery, lambda parts: parts.update({"__MACOSX/._sheet.xml": planted.text.encode()})
    )


@place("another entry", TEXT)
def entry_twice(delivery: Delivery, planted: Planted):
    def change(archive: bytes) -> bytes:
        buffer = io.BytesIO(archive)
        with zipfile.ZipFile(buffer, "a") as opened:
            sheet = opened.read(EPISODES)
            cell = f'<c r="A1" t="inlineStr"><is><t>{escape(planted.text)}</t></is></c>'
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                opened.writestr(
                    EPISODES,
                    sheet.replace(
                        b"</sheetData>", f'<row r="99">{cell}</row></sheetData>'.encode()
                    ),
                )
        return buffer.getvalue()

    edit_bytes(delivery, change)


@place("archive", TEXT)
def archive_comment(delivery: Delivery, planted: Planted):
    delivery.form = "xlsx"
    delivery.archive_comment = planted.text.encode()


@place("archive", TEXT)
def bytes_after(delivery: Delivery, planted: Planted):
    edit_bytes(delivery, lambda archive: archive + b"\n" + planted.text.encode())


@place("archive", TEXT)
def bytes_before(delivery: Delivery, planted: Planted):
    edit_bytes(delivery, lambda archive: planted.text.encode() + b"\n" + archive)


@place("archive", TEXT)
def bytes_between_entries(delivery: Delivery, planted: Planted):
    def change(archive: bytes) -> bytes:
        gap = planted.text.encode()
        end = archive.rindex(b"PK\x05\x06")
        start = struct.unpack("<I", archive[end + 16 : end + 20])[0]
        moved = struct.pack("<I", start + len(gap))
        return archive[:start] + gap + archive[start : end + 16] + moved + archive[end + 20 :]

    edit_bytes(delivery, change)
