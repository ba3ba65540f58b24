"""Identifiers, all of them kept for fiction or documentation,
and every kind of place in a workbook where one can stand."""

from openpyxl.comments import Comment
from openpyxl.packaging.custom import StringProperty
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation

from tests.unit.intake.conftest import build_book, plain_tables, to_grids, write_book

PLANTED = {  # as in test_patterns: all of them kept for fiction or documentation
    "calendar_date": "14.03.1957",
    "telephone_number": "202-555-0143",
    "email_address": "a.person@example.org",
    "web_address": "www.example.org",
    "ip_address": "192.0.2.17",
    "long_number": "AB4471992",
    "postcode": "SW1A 1AA",
    "free_text": "Mr Zacharias Quillfeather",
}
NAMES_ALLOWED = {"creator"}  # programs write the author into every file
DATES_ALLOWED = {"file name"}  # of the day on which it was written
MAY_BE_NAMES = (
    "Zacharias Quillfeather",
    "Quillfeather, Zacharias",
    "Quillfeather",
    "seen by Quillfeather",
    "QUILLFEATHER-1952",
)


def put_in_cell(book, text):
    book["episodes"].cell(3, 4).value = text


def put_in_submission(book, text):
    book["submission"].cell(9, 2).value = text


def put_in_pseudonym(book, text):
    book["episodes"].cell(3, 2).value = f"{text} X" if text == PLANTED["postcode"] else text


def put_in_unknown_column(book, text):
    column = book["episodes"].max_column + 1
    book["episodes"].cell(1, column).value = "kind_of_visit"
    book["episodes"].cell(2, column).value = text


def put_in_hidden_column(book, text):
    put_in_unknown_column(book, text)
    sheet = book["episodes"]
    sheet.column_dimensions[sheet.cell(1, sheet.max_column).column_letter].hidden = True


def put_under_no_header(book, text):
    book["followups"]["ZZ3"] = text


def put_far_below(book, text):
    book["examinations"].cell(5000, 3).value = text


def put_in_hidden_sheet(book, text):
    sheet = book.create_sheet("lists")
    sheet["A1"], sheet["A2"] = "list", text
    sheet.sheet_state = "veryHidden"


def put_in_header(book, text):
    book["treatments"].cell(1, book["treatments"].max_column + 1).value = text


def put_in_sheet_name(book, text):
    book.create_sheet(text)


def put_in_comment(book, text):
    book["episodes"]["A2"].comment = Comment(text, "site")


def put_in_title(book, text):
    book.properties.title = text


def put_in_creator(book, text):
    book.properties.creator = text


def put_in_own_property(book, text):
    book.custom_doc_props.append(StringProperty(name="source", value=text))


def put_in_defined_name(book, text):
    book.defined_names["source"] = DefinedName("source", attr_text=f'"{text}"')


def put_in_formula(book, text):
    book["episodes"].cell(2, 4).value = f'=LEFT("{text}", 3)'


def put_in_page_header(book, text):
    book["episodes"].oddHeader.center.text = text


def put_in_link(book, text):
    book["episodes"].cell(2, 4).hyperlink = text


def put_in_hint(book, text):
    hint = DataValidation(type="list", formula1='"yes,no"')
    hint.prompt = text
    hint.add("E2:E9")
    book["episodes"].add_data_validation(hint)


def put_in_comment_of_defined_name(book, text):
    book.defined_names["source"] = DefinedName("source", attr_text="episodes!$A$1", comment=text)


def put_in_unused_number_format(book, text):
    book["episodes"].cell(2, 4).number_format = f'0.0"{text}"'
    book["episodes"].cell(2, 4).number_format = "General"
    book._number_formats.append('0" "' + "".join(f"\\{sign}" for sign in text))


def put_in_code_name(book, text):
    book["episodes"].sheet_properties.codeName = text


PLACES = {
    "cell": put_in_cell,
    "submission": put_in_submission,
    "pseudonym": put_in_pseudonym,
    "unknown column": put_in_unknown_column,
    "hidden column": put_in_hidden_column,
    "no header": put_under_no_header,
    "far below": put_far_below,
    "hidden sheet": put_in_hidden_sheet,
    "header": put_in_header,
    "sheet name": put_in_sheet_name,
    "comment": put_in_comment,
    "title": put_in_title,
    "creator": put_in_creator,
    "own property": put_in_own_property,
    "defined name": put_in_defined_name,
    "formula": put_in_formula,
    "page header": put_in_page_header,
    "hint on entry": put_in_hint,
    "link": put_in_link,
    "comment of a defined name": put_in_comment_of_defined_name,
    "unused number format": put_in_unused_number_format,
    "code name": put_in_code_name,
    "file name": lambda book, text: None,
}


def plant(folder, place: str, text: str):
    """A workbook with `text` in one place."""
    book = build_book(to_grids(plain_tables()))
    PLACES[place](book, text)
    return write_book(folder, book, f"{text}.xlsx" if place == "file name" else "S01_001.xlsx")
