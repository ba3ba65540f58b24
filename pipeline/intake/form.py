"""What a file is, told by its first bytes: a file that is not what its name says is refused with a
sentence that says what to do.

The signatures are those of the published formats: ZIP (PKWARE APPNOTE 6.3.10, 4.3.7), Compound File
Binary ([MS-CFB] 2.2), in which both old workbooks and encrypted ones ([MS-OFFCRYPTO] 2.3.4.4) are
packed, and OpenDocument (ISO/IEC 26300-2, 3.3).
"""

import zipfile
from pathlib import Path

ZIP, COMPOUND = b"PK\x03\x04", bytes.fromhex("d0cf11e0a1b11ae1")
ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
OPEN_DOCUMENT = b"mimetypeapplication/vnd.oasis.opendocument"
OPEN_DOCUMENT_FROM = 30  # bytes of the archive before the name of its first part
BEGINNING = 1_000  # bytes
SAVE_AS = "Open it in your spreadsheet program, save it as .xlsx, and hand that in."
# of spreadsheets: nothing here reads them
OTHER_FORMS = (".xls", ".xlsm", ".xlsb", ".ods", ".fods", ".numbers")
TEXTS = (".csv", ".tsv", ".txt")


def find_mismatch(path: Path) -> str | None:
    """Why a file cannot be the table or the workbook that its name says, and what to do;
    None if it can."""
    with path.open("rb") as file:
        start = file.read(BEGINNING)
    if len(start) < BEGINNING and not start.strip(b"\0 \r\n\t"):
        return "It is empty: save it again from your spreadsheet program."
    if start.startswith(COMPOUND):
        if path.suffix.lower() == ".xlsx" and ENCRYPTED in path.read_bytes():
            return "It is protected by a password: remove the password, and save it again."
        return f"It is a workbook in an old form. {SAVE_AS}"
    if start[OPEN_DOCUMENT_FROM:].startswith(OPEN_DOCUMENT):
        return f"It is an OpenDocument file. {SAVE_AS}"
    if path.suffix.lower() == ".xlsx":
        if not start.startswith(ZIP):
            web = (
                "a web page"
                if b"<html" in start.lower() or b"<!doctype html" in start.lower()
                else "text"
            )
            return f"It is no workbook but {web}. {SAVE_AS}"
        if not zipfile.is_zipfile(path):
            return "Its end is missing, as after an interrupted copy: copy or save it again."
    elif start.startswith(ZIP):
        return "It is a workbook and no text: let its name end in .xlsx, and hand in nothing else."
    return None
