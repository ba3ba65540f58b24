"""Clean workbooks as different programs write them."""

import io

import openpyxl

from tests.corpus.base import TABLES
from tests.corpus.delivery import Delivery
from tests.corpus.register import clean
from tests.corpus.sheet import HEAD, Raw, Sheet
from tests.corpus.workbook import Book

OXML = "application/vnd.openxmlformats-officedocument"


def saved_by_library(
    delivery: Delivery, change=lambda book: None, write_only: bool = False
) -> None:
    """The tables saved by openpyxl, after a change of the book."""
    book = openpyxl.Workbook(write_only=write_only)
    if not write_only:
        book.remove(book.active)
    for table in TABLES:
        sheet = book.create_sheet(table)
        for row in delivery.tables.rows[table]:
            sheet.append(row)
    change(book)
    buffer = io.BytesIO()
    book.save(buffer)
    delivery.edit_book(lambda _: None)
    delivery.byte_edits.append(lambda _: buffer.getvalue())


@clean("program")
def library_plain(delivery):
    saved_by_library(delivery)


@clean("program")
def library_print_titles(delivery):
    def change(book):
        for sheet in book.worksheets:
            sheet.print_title_rows = "1:1"
            sheet.print_area = sheet.dimensions

    saved_by_library(delivery, change)


@clean("program")
def library_title_property(delivery):
    def change(book):
        book.properties.title = "BPPV episodes"
        book.properties.creator = "openpyxl"

    saved_by_library(delivery, change)


@clean("program")
def strings_shared(delivery):
    delivery.form = "xlsx"


@clean("program")
def like_an_office_suite(delivery):
    def change(book: Book):
        book.app = (
            "<Template></Template><TotalTime>14</TotalTime>"
            "<Application>LibreOffice/7.4$Linux_X86_64</Application>"
        )
        book.core += (
            "<dc:language>en-US</dc:language><cp:revision>3</cp:revision><dc:title></dc:title>"
            "<dc:subject></dc:subject>"
        )
        for sheet in book.sheets:
            sheet.elements["cols"] = (
                '<cols><col collapsed="false" min="1" max="1024" width="11.5"/></cols>'
            )
            sheet.elements["headerFooter"] = (
                '<headerFooter differentFirst="false" '
                'differentOddEven="false"><oddHeader>&amp;C&amp;"Times New '
                'Roman,Regular"&amp;12&amp;A</oddHeader><oddFooter>&amp;C&amp;"Times New '
                'Roman,Regular"&amp;12Page &amp;P</oddFooter></headerFooter>'
            )

    delivery.edit_book(change)


@clean("program")
def like_an_online_sheet(delivery):
    def change(book: Book):
        for number, sheet in enumerate(book.sheets, start=1):
            xml = f'{HEAD}<xdr:wsDr xmlns:xdr="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"/>'
            link = book.add_part(
                f"xl/drawings/drawing{number}.xml", xml, f"{OXML}.drawing+xml", "drawing", sheet
            )
            sheet.elements["drawing"] = f'<drawing r:id="{link}"/>'

    delivery.edit_book(change)


@clean("program")
def like_a_desktop_program(delivery):
    def change(book: Book):
        names = "".join(f"<vt:lpstr>{sheet.name}</vt:lpstr>" for sheet in book.sheets)
        book.app += (
            '<TitlesOfParts><vt:vector size="5" '
            f'baseType="lpstr">{names}</vt:vector></TitlesOfParts>'
            "<AppVersion>16.0300</AppVersion>"
        )
        book.elements["bookViews"] = (
            '<bookViews><workbookView xWindow="0" yWindow="0" windowWidth="28800" '
            'windowHeight="12300"/></bookViews>'
        )
        book.elements["fileVersion"] = (
            '<fileVersion appName="xl" lastEdited="7" lowestEdited="7" rupBuild="22527"/>'
        )
        book.elements["workbookPr"] = '<workbookPr defaultThemeVersion="166925"/>'
        for sheet in book.sheets:
            sheet.elements["dimension"] = f'<dimension ref="A1:AB{len(sheet.rows)}"/>'
            sheet.elements["pageMargins"] = (
                '<pageMargins left="0.7" right="0.7" top="0.75" bottom="0.75" header="0.3" '
                'footer="0.3"/>'
            )

    delivery.edit_book(change)


@clean("program")
def with_results_of_formulas(delivery):
    def change(book: Book):
        for number, row in enumerate(book.sheet("followups").rows[1:], start=2):
            row[1] = Raw(f'<c r="{{ref}}"><f>{row[1]}+0*ROW(A{number})</f><v>{row[1]}</v></c>')

    delivery.edit_book(change)


@clean("sheets")
def sheets_in_another_order(delivery):
    delivery.edit_book(lambda book: book.sheets.reverse())


@clean("sheets")
def empty_sheet_beside(delivery):
    delivery.edit_book(lambda book: book.sheets.append(Sheet("Sheet1", [])))


@clean("sheets")
def capital_sheet_names(delivery):
    delivery.edit_book(
        lambda book: [setattr(sheet, "name", sheet.name.title()) for sheet in book.sheets]
    )


@clean("sheets")
def blanks_around_sheet_names(delivery):
    delivery.edit_book(
        lambda book: [setattr(sheet, "name", f"{sheet.name} ") for sheet in book.sheets]
    )


@clean("sheets")
def sheet_of_codes_hidden(delivery):
    rows = [
        ["sex", "side"],
        ["female", "right"],
        ["male", "left"],
        ["other", "both"],
        ["unknown", "unknown"],
    ]
    delivery.edit_book(lambda book: book.sheets.append(Sheet("lists", rows, state="hidden")))


@clean("hidden")
def hidden_rows_of_records(delivery):
    delivery.edit_book(lambda book: book.sheet("examinations").hidden_rows.update({3, 4, 5}))


@clean("rules")
def colours_for_codes(delivery):
    def change(book: Book):
        inside = '<cfRule type="expression" priority="1"><formula>$D2="female"</formula></cfRule>'
        book.sheet("episodes").elements["conditionalFormatting"] = (
            f'<conditionalFormatting sqref="D2:D99">{inside}</conditionalFormatting>'
        )

    delivery.edit_book(change)


@clean("rules")
def colour_scale(delivery):
    def change(book: Book):
        scale = (
            '<colorScale><cfvo type="min"/><cfvo type="max"/><color rgb="FFFFFFFF"/><color '
            'rgb="FF63BE7B"/>'
            "</colorScale>"
        )
        inside = f'<cfRule type="colorScale" priority="1">{scale}</cfRule>'
        book.sheet("followups").elements["conditionalFormatting"] = (
            f'<conditionalFormatting sqref="F2:F99">{inside}</conditionalFormatting>'
        )

    delivery.edit_book(change)


@clean("rules")
def filter_on_codes(delivery):
    def change(book: Book):
        inside = '<filterColumn colId="3"><filters><filter val="female"/></filters></filterColumn>'
        book.sheet("episodes").elements["autoFilter"] = (
            f'<autoFilter ref="A1:AB13">{inside}</autoFilter>'
        )
        name = (
            '<definedName name="_xlnm._FilterDatabase" localSheetId="1" '
            'hidden="1">episodes!$A$1:$AB$13</definedName>'
        )
        book.elements["definedNames"] = f"<definedNames>{name}</definedNames>"

    delivery.edit_book(change)


@clean("rules")
def sheet_protected(delivery):
    def change(book: Book):
        book.sheet("episodes").elements["sheetProtection"] = (
            '<sheetProtection sheet="1" objects="1" scenarios="1"/>'
        )

    delivery.edit_book(change)


@clean("file name")
def file_named_final(delivery):
    delivery.form, delivery.file_name = "xlsx", "BPPV pool final v2.xlsx"


@clean("file name")
def file_named_copy(delivery):
    delivery.form, delivery.file_name = "xlsx", "episodes - Copy (2).xlsx"


@clean("file name")
def file_ending_in_capitals(delivery):
    delivery.form, delivery.file_name = "xlsx", "S11_001.XLSX"
