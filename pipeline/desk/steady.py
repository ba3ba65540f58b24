"""Workbooks as bytes that are the same each time: their archive carries one fixed date, and nothing is added about who saved them when."""

import io
import zipfile

from openpyxl import Workbook

FIRST_ZIP_DATE = (1980, 1, 1, 0, 0, 0)
CORE = "docProps/core.xml"
NO_PROPERTIES = (
    b'<cp:coreProperties xmlns:cp="http://schemas.openxmlformats.org/package/2006/metadata/core-properties"/>'
)


def write_steadily(book: Workbook, properties: bytes = NO_PROPERTIES) -> bytes:
    """The workbook as bytes; `properties` is the part that names author, title and dates."""
    saved, steady = io.BytesIO(), io.BytesIO()
    book.save(saved)
    with zipfile.ZipFile(saved) as source, zipfile.ZipFile(steady, "w") as target:
        for name in source.namelist():
            member = zipfile.ZipInfo(name, FIRST_ZIP_DATE)
            member.compress_type, member.create_system = zipfile.ZIP_DEFLATED, 3
            target.writestr(member, properties if name == CORE else source.read(name), compresslevel=9)
    return steady.getvalue()
