"""Breaks files: their bytes, the archive of a workbook, the parts in it."""

import io
import random
import re
import warnings
import zipfile
from collections.abc import Callable

TAG = re.compile(rb"<[^<>]+>")
ATTRIBUTE = re.compile(rb'="([^"]*)"')
VALUES = (
    *(b"", b"0", b"-1", b"1048577", b"99999999999999999999", b"1e400", b"NaN", b"A0", b"XFE1"),
    *(b"A1:XFD1048576", b"true", b"rId99", b"../../x.xml", b"&#0;", b"\xff\xfe", b"s", b"e", b"d"),
)
Break = Callable[[bytes, random.Random], bytes]


def flip(content: bytes, draw: random.Random) -> bytes:
    """Other bytes at up to eight places."""
    changed = bytearray(content)
    for _ in range(draw.randint(1, 8)):
        if changed:
            changed[draw.randrange(len(changed))] = draw.randrange(256)
    return bytes(changed)


def cut(content: bytes, draw: random.Random) -> bytes:
    """The first part alone."""
    return content[: draw.randrange(len(content) + 1)]


def leave_out(content: bytes, draw: random.Random) -> bytes:
    """Without a piece."""
    at = draw.randrange(len(content) + 1)
    return content[:at] + content[at + draw.randint(1, 200) :]


def repeat(content: bytes, draw: random.Random) -> bytes:
    """With a piece once more, somewhere else."""
    at, to = (draw.randrange(len(content) + 1) for _ in range(2))
    return content[:to] + content[at : at + draw.randint(1, 2_000)] + content[to:]


def put_in(content: bytes, draw: random.Random) -> bytes:
    """With bytes put in."""
    at = draw.randrange(len(content) + 1)
    return content[:at] + draw.choice((draw.randbytes(9), *VALUES)) + content[at:]


BYTES: tuple[Break, ...] = (flip, cut, leave_out, repeat, put_in)


def break_bytes(content: bytes, draw: random.Random) -> bytes:
    """A file broken in one way."""
    return draw.choice(BYTES)(content, draw)


def break_archive(content: bytes, draw: random.Random) -> bytes:
    """A workbook whose archive or one of whose parts is broken; other content as it is."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = [(name, archive.read(name)) for name in archive.namelist()]
    except Exception:  # what an earlier break left of it is no archive any more
        return content
    if not parts:
        return content
    at = draw.randrange(len(parts))
    name, part = parts[at]
    way = draw.randrange(9)
    if way == 0:
        del parts[at]
    elif way == 1:
        parts.insert(draw.randrange(len(parts) + 1), (name, draw.choice(parts)[1]))
    elif way == 2:
        others = (
            "../x.xml",
            "/x",
            "xl\\x.xml",
            "x" * 300,
            name.upper(),
            "[Content_Types].xml",
            "é",
        )
        parts[at] = (draw.choice(others), part)
    elif way == 3:
        parts[at] = (name, b"")
    elif way == 4:
        parts.append((f"xl/media/image{at}.bin", bytes(draw.choice((10**3, 10**6, 3 * 10**7)))))
    elif way == 5:
        parts[at] = (name, break_bytes(part, draw))
    else:
        parts[at] = (name, break_elements(part, draw))
    return pack(parts, draw)


def break_elements(part: bytes, draw: random.Random) -> bytes:
    """A part of XML with a tag left out, repeated, or with another value in it."""
    tags = list(TAG.finditer(part))
    if not tags:
        return break_bytes(part, draw)
    tag = draw.choice(tags)
    start, end = tag.span()
    way = draw.randrange(4)
    if way == 0:
        return part[:start] + part[end:]
    if way == 1:
        return part[:end] + tag[0] + part[end:]
    values = list(ATTRIBUTE.finditer(tag[0]))
    if way == 2 and values:
        first, last = draw.choice(values).span(1)
        return part[: start + first] + draw.choice(VALUES) + part[start + last :]
    return part[:end] + draw.choice(VALUES) + part[end:]


def pack(parts: list[tuple[str, bytes]], draw: random.Random) -> bytes:
    """The parts as an archive, now and then with a comment, plain, or with a wrong checksum."""
    kind = draw.choice((zipfile.ZIP_DEFLATED,) * 4 + (zipfile.ZIP_STORED, zipfile.ZIP_BZIP2))
    buffer = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of names that are there twice: they are meant
        with zipfile.ZipFile(buffer, "w", kind) as archive:
            for name, part in parts:
                archive.writestr(name, part)
            if draw.random() < 0.05:
                archive.comment = draw.randbytes(50)
    packed = buffer.getvalue()
    if draw.random() < 0.1:  # flags and sizes in the list of contents
        at = packed.rfind(b"PK\x01\x02")
        place = at + draw.randint(4, 45)
        packed = packed[:place] + draw.randbytes(1) + packed[place + 1 :]
    return packed
