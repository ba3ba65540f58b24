"""What stands in a PDF for a search: its packed streams opened, and its letters read by the tables
that say which sign each glyph is (ISO 32000-1, 7.3.4, 7.4.4 and 9.10.3)."""

import re
import zlib
from collections.abc import Iterator, Mapping

STREAM = re.compile(rb"(?<!end)stream\r?\n")
STRING = re.compile(rb"\((?:[^()\\]|\\.)*\)|<[0-9A-Fa-f\s]*>", re.DOTALL)
ESCAPE = re.compile(rb"\\([0-7]{1,3}|\r?\n|.)", re.DOTALL)
SIGNS = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}
CHARS = re.compile(rb"beginbfchar(.*?)endbfchar", re.DOTALL)
RANGES = re.compile(rb"beginbfrange(.*?)endbfrange", re.DOTALL)
CODE = re.compile(rb"<([0-9A-Fa-f]+)>")
Glyphs = Mapping[int, str]


def read_texts(content: bytes) -> Iterator[str]:
    """All texts of a PDF in which a word may stand.

    Parameters
    ----------
    content
        The file.

    Yields
    ------
    str
        The file and each packed stream as they are, then the letters of each stream by each table
        of glyphs, one after another without spaces between them: a page places words and often
        single letters apart.
    """
    streams = list(open_streams(content))
    for part in (content, *streams):
        yield part.decode("latin-1").replace("\0", "")  # of UTF-16 the plain signs are left
    tables = [read_glyphs(stream) for stream in streams if b"beginbf" in stream]
    for stream in (content, *streams):
        codes = [code for text in STRING.findall(stream) for code in _list_codes(text)]
        for glyphs in tables:
            yield "".join(glyphs.get(code, "") for code in codes)


def open_streams(content: bytes) -> Iterator[bytes]:
    """The streams that are packed, opened as far as they can be."""
    for found in STREAM.finditer(content):
        try:
            yield zlib.decompressobj().decompress(content[found.end() :])
        except zlib.error:  # as it is, or a picture
            continue


def read_glyphs(table: bytes) -> Glyphs:
    """The signs of the glyphs in a table of a font."""
    glyphs = {}
    for block in CHARS.findall(table):
        codes = CODE.findall(block)
        for code, sign in zip(codes[::2], codes[1::2], strict=False):
            glyphs[int(code, 16)] = _decode(sign)
    for block in RANGES.findall(table):
        for line in block.strip().splitlines():
            first, last, *signs = CODE.findall(line)
            for k, code in enumerate(range(int(first, 16), int(last, 16) + 1)):
                of_list = len(signs) > 1
                sign = _decode(signs[k if of_list else 0])
                glyphs[code] = sign if of_list else sign[:-1] + chr(ord(sign[-1]) + k)
    return glyphs


def _decode(sign: bytes) -> str:
    return bytes.fromhex(sign.decode("ascii")).decode("utf-16-be", "replace")


def _list_codes(text: bytes) -> Iterator[int]:
    """The glyphs of a string, two bytes each."""
    if text.startswith(b"<"):
        digits = re.sub(rb"\s", b"", text[1:-1])
        written = bytes.fromhex((digits + b"0" * (len(digits) % 2)).decode("ascii"))
    else:
        written = ESCAPE.sub(_read_escape, text[1:-1])
    for at in range(0, len(written) - 1, 2):
        yield int.from_bytes(written[at : at + 2])


def _read_escape(found: re.Match[bytes]) -> bytes:
    what = found[1]
    if what[:1].isdigit():
        return bytes([int(what, 8) & 255])
    return SIGNS.get(what, b"" if what.endswith(b"\n") else what)
