"""Whether a workbook's archive has bytes that belong to none of its parts: before it, behind it,
or between two parts.

The layout is that of ZIP (PKWARE APPNOTE 6.3.10, 4.3): each part behind its own header, then the
list of parts, then the end record.
"""

import struct
import zipfile
from pathlib import Path

HEADER = struct.Struct("<26xHH")  # of a part: the lengths of its name and of its extra field
END, END_LENGTH, COMMENT_LENGTH = b"PK\x05\x06", 22, 20
LONGEST_DESCRIPTOR = 24  # bytes behind a part, with its sizes once more
STRAY = "It has bytes that belong to no part of it."


def find_stray_bytes(path: Path, archive: zipfile.ZipFile) -> str | None:
    """What is wrong with the layout of a workbook, as a sentence;
    nothing if all bytes are those of its parts."""
    content = path.read_bytes()
    end = content.rfind(END)
    comment = int.from_bytes(content[end + COMMENT_LENGTH : end + END_LENGTH], "little")
    if end < 0 or end + END_LENGTH + comment < len(content):
        return STRAY
    reached = 0
    for part in sorted(archive.infolist(), key=lambda part: part.header_offset):
        name, extra = HEADER.unpack_from(content, part.header_offset)
        if not reached <= part.header_offset <= reached + (LONGEST_DESCRIPTOR if reached else 0):
            return STRAY
        reached = part.header_offset + HEADER.size + name + extra + part.compress_size
    return None if archive.start_dir <= reached + LONGEST_DESCRIPTOR else STRAY
