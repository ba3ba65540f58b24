"""Workbooks as bytes that are the same each time: their archive carries one fixed date,
and nothing is added about who saved them when."""

import io
import zipfile
from collections.abc import Callable

from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet
from openpyxl.writer.excel import ExcelWriter

FIRST_ZIP_DATE = (1980, 1, 1, 0, 0, 0)
CORE = "docProps/core.xml"
NO_PROPERTIES = b'<cp:coreProperties xmlns:cp="http://schemas.openxmlformats.org/package/2006/metadata/core-properties"/>'


Complete = Callable[[Worksheet, bytes], bytes]


def write_steadily(
    book: Workbook,
    properties: bytes = NO_PROPERTIES,
    complete: Complete = lambda sheet, written: written,
) -> bytes:
    """The workbook as bytes; `properties` is the part that names author, title and dates,
    and `complete` adds to a sheet as the library wrote it."""
    saved, steady = io.BytesIO(), io.BytesIO()
    ExcelWriter(book, zipfile.ZipFile(saved, "w")).save()  # packed once, below
    sheets = {sheet.path.removeprefix("/"): sheet for sheet in book.worksheets}
    with zipfile.ZipFile(saved) as source, zipfile.ZipFile(steady, "w") as target:
        for name in source.namelist():
            member = zipfile.ZipInfo(name, FIRST_ZIP_DATE)
            member.compress_type, member.create_system = zipfile.ZIP_DEFLATED, 3
            content = properties if name == CORE else source.read(name)
            if name in sheets:
                content = complete(sheets[name], content)
            target.writestr(member, content)
    return steady.getvalue()
