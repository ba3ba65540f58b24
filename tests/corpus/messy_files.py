"""Slips in files and folders: names, strays, what is no workbook, lists of withdrawals."""

from tests.corpus.base import TABLES
from tests.corpus.delivery import Delivery
from tests.corpus.register import messy

OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 504


def put_in(delivery: Delivery, folder: str) -> None:
    """Hand in under another folder name."""
    delivery.folder = folder.replace("S11", delivery.site)


@messy(["three digits|three-digit|001"], [], group="folder", skipped=True)
def folder_number_of_one_digit(delivery):
    put_in(delivery, "S11/1")


@messy(["three digits|three-digit|001"], [], group="folder", skipped=True)
def folder_number_with_word(delivery):
    put_in(delivery, "S11/001 final")


@messy(["three digits|three-digit|001"], [], group="folder", skipped=True)
def folder_named_delivery(delivery):
    put_in(delivery, "S11/delivery001")


@messy(["three digits|three-digit|001"], [], group="folder", skipped=True)
def folder_with_version(delivery):
    put_in(delivery, "S11/001_v2")


@messy([r"\.pdf"], [], group="stray file", blocks=2)
def protocol_beside(delivery):
    delivery.files["protocol.pdf"] = b"%PDF-1.4\n"


@messy([r"~\$|open|lock"], [], group="stray file", blocks=2)
def workbook_still_open(delivery):
    delivery.form = "xlsx"
    delivery.files[f"~${delivery.site}_001.xlsx"] = b"\x04desk".ljust(165, b" ")


@messy([r"\.csv", r"\.xlsx|workbook"], [], group="stray file", blocks=4)
def workbook_and_csv_together(delivery):
    delivery.form = "csv"
    delivery.files["S11_001.xlsx"] = Delivery(delivery.tables).make_workbook()


@messy(["marked", r"S\d+_001\.xlsx"], [], group="stray file", blocks=4)
def marked_copy_left(delivery):
    delivery.form = "xlsx"
    delivery.files[f"{delivery.site}_001_marked.xlsx"] = Delivery(delivery.tables).make_workbook()


@messy(["treatments", "missing"], [], group="file", blocks=3)
def one_csv_missing(delivery):
    delivery.form, delivery.left_out = "csv", {"treatments"}


@messy([r"\.xls\b|form", "xlsx"], ["S00"], group="file", blocks=3)
def old_form(delivery):
    delivery.form, delivery.left_out = "csv", set(TABLES)
    delivery.files["records.xls"] = OLE


@messy([r"\.ods|form", "xlsx"], ["S00"], group="file", blocks=3)
def open_document(delivery):
    delivery.form, delivery.left_out = "csv", set(TABLES)
    delivery.files["records.ods"] = (
        b"PK\x03\x04mimetypeapplication/vnd.oasis.opendocument.spreadsheet"
    )


@messy(["password|protect|read"], ["S00"], group="file", blocks=2)
def workbook_with_password(delivery):
    delivery.edit_book(lambda book: None)
    stream = OLE + "EncryptedPackage".encode("utf-16-le") + b"\0" * 400
    delivery.byte_edits.append(lambda _: stream)


@messy(["read|csv"], ["S00"], group="file", blocks=2)
def csv_called_workbook(delivery):
    delivery.edit_book(lambda book: None)
    delivery.byte_edits.append(lambda _: b"episode_id,patient_id\nE-0001,P-0001\n")


@messy(["followups", r"\b5\b", "cells|separator|quot"], [], group="file", blocks=4)
def comma_inside_a_cell(delivery):
    def change(text: str) -> str:
        lines = text.split("\n")
        lines[4] = (
            lines[4].replace("clinic", "clinic,ward", 1).replace("telephone", "telephone,mobile", 1)
        )
        return "\n".join(lines)

    delivery.edit_text("followups", change)


@messy(["withdrawn", "one column|column"], [], group="list of withdrawals", blocks=2)
def withdrawn_with_two_columns(delivery):
    delivery.files["../withdrawn.csv"] = b"patient_id,since\nP-0003,12\n"


@messy(
    ["withdrawn", "capital|form|pseudonym"], [], group="list of withdrawals", blocks=2, silent=True
)
def withdrawn_in_small_letters(delivery):
    delivery.files["../withdrawn.csv"] = b"patient_id\np-0003\n"


@messy(["withdrawn", "csv"], [], group="list of withdrawals", blocks=2)
def withdrawn_as_workbook(delivery):
    delivery.files["../withdrawn.xlsx"] = Delivery(delivery.tables).make_workbook()


@messy(["withdrawn", "beside|site|above"], [], group="list of withdrawals", blocks=3)
def withdrawn_inside_the_delivery(delivery):
    delivery.files["withdrawn.csv"] = b"patient_id\nP-0003\n"


@messy(
    ["three digits|site_code|S\\d"],
    [],
    group="file",
    blocks=3,
    path=lambda delivery: f"001/{delivery.site}_001.xlsx",
)
def file_alone_of_wrong_site(delivery):
    delivery.edit_book(lambda book: None)
    delivery.tables.say("site_code", "S10")


@messy(
    ["README.txt|beside|folder"],
    [],
    group="stray file",
    blocks=3,
    path=lambda delivery: f"001/{delivery.site}_001.xlsx",
)
def file_alone_with_a_stray_beside(delivery):
    delivery.edit_book(lambda book: None)
    delivery.files["README.txt"] = b"exported in July"


@messy(
    ["withdrawn"],
    [],
    group="list of withdrawals",
    blocks=3,
    path=lambda delivery: f"001/{delivery.site}_001.xlsx",
)
def file_alone_with_unclear_withdrawals(delivery):
    delivery.edit_book(lambda book: None)
    delivery.files["../withdrawn.csv"] = b"patient_id,since\nP-0003,12\n"
