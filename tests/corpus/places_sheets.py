"""Places in a workbook's sheets: what is hidden, what stands beside the cells,
and how a cell can be written."""

from xml.sax.saxutils import escape

from tests.corpus.places_parts import quoted
from tests.corpus.planted import SHORT, TEXT, book_place, short
from tests.corpus.sheet import Raw, Sheet, Styled
from tests.corpus.workbook import Book

TAB = short(31, "[]:*?/\\'")
CELL = '<c r="{ref}" t="inlineStr"><is>'


@book_place("name of a sheet", SHORT, TAB)
def sheet_name_of_extra(book: Book, text: str):
    book.sheets.append(Sheet(text, [["a", "b"], [1, 2]]))


@book_place("name of a sheet", SHORT, TAB)
def sheet_name_of_empty(book: Book, text: str):
    book.sheets.insert(0, Sheet(text, []))


@book_place("name of a sheet", {"name", "number", "date"}, short(18, "[]:*?/\\'"))
def sheet_name_behind_table(book: Book, text: str):
    book.sheet("episodes").name = f"episodes {text}"


@book_place("another sheet", TEXT)
def sheet_extra_cell(book: Book, text: str):
    book.sheets.append(Sheet("Tabelle1", [["k", "n"], [1, text]]))


@book_place("another sheet", TEXT)
def sheet_named_dictionary(book: Book, text: str):
    book.sheets.append(Sheet("dictionary", [["column", "meaning"], ["age_years", text]]))


@book_place("another sheet", TEXT)
def sheet_chart_data(book: Book, text: str):
    book.sheets.append(Sheet("Pivot", [["Row Labels", "Count"], [text, 3], ["Grand Total", 3]]))


@book_place("hidden", TEXT)
def hidden_sheet(book: Book, text: str):
    book.sheets.append(Sheet("old", [[None], [None, text]], state="hidden"))


@book_place("hidden", TEXT)
def hidden_row(book: Book, text: str):
    sheet = book.sheet("treatments")
    sheet.rows.insert(4, [None, None, None, text])
    sheet.hidden_rows.add(5)


@book_place("hidden", TEXT)
def hidden_column(book: Book, text: str):
    sheet = book.sheet("episodes")
    for number, row in enumerate(sheet.rows):
        row.append("key" if number == 0 else text if number == 3 else None)
    width = len(sheet.rows[0])
    sheet.elements["cols"] = f'<cols><col min="{width}" max="{width}" width="0" hidden="1"/></cols>'


@book_place("hidden", TEXT)
def hidden_by_format(book: Book, text: str):
    book.number_formats.append(";;;")
    book.sheet("episodes").rows[5].append(
        Raw(f'<c r="{{ref}}" s="3" t="inlineStr"><is><t>{escape(text)}</t></is></c>')
    )


@book_place("far away", TEXT)
def cell_far_below(book: Book, text: str):
    book.sheet("submission").far["C5000"] = text


@book_place("far away", TEXT)
def cell_last_of_sheet(book: Book, text: str):
    book.sheet("episodes").far["XFD1048576"] = text


@book_place("way of writing a cell", TEXT)
def rich_text_runs(book: Book, text: str):
    half = len(text) // 2
    runs = "".join(
        f'<r><rPr><b/></rPr><t xml:space="preserve">{escape(part)}</t></r>'
        for part in (text[:half], text[half:])
    )
    book.sheet("episodes").rows[3].append(Raw(f"{CELL}{runs}</is></c>"))


@book_place("way of writing a cell", TEXT)
def written_twice_first(book: Book, text: str):
    sheet = book.sheet("episodes")
    at = sheet.rows[0].index("sex")
    sheet.rows[4][at] = Raw(f"{CELL}<t>{escape(text)}</t></is></c>{CELL}<t>female</t></is></c>")


@book_place("way of writing a cell", TEXT)
def written_twice_second(book: Book, text: str):
    sheet = book.sheet("treatments")
    at = sheet.rows[0].index("completed")
    sheet.rows[4][at] = Raw(f"{CELL}<t>yes</t></is></c>{CELL}<t>{escape(text)}</t></is></c>")


@book_place("way of writing a cell", TEXT)
def formula_with_constant(book: Book, text: str):
    sheet = book.sheet("episodes")
    at = sheet.rows[0].index("osteoporosis")
    sheet.rows[2][at] = Raw(
        f'<c r="{{ref}}" t="str"><f>IF(1=1,"no",{quoted(text)})</f><v>no</v></c>'
    )


@book_place("way of writing a cell", TEXT)
def formula_result_text(book: Book, text: str):
    book.sheet("followups").rows[2].append(
        Raw(f'<c r="{{ref}}" t="str"><f>A1&amp;""</f><v>{escape(text)}</v></c>')
    )


@book_place("way of writing a cell", TEXT)
def formula_link(book: Book, text: str):
    formula = f'HYPERLINK("#A1",{quoted(text)})'
    book.sheet("followups").rows[2].append(
        Raw(f'<c r="{{ref}}" t="str"><f>{formula}</f><v>open</v></c>')
    )


@book_place("way of writing a cell", SHORT, short(60))
def number_format_text(book: Book, text: str):
    book.number_formats.append(f'"{text}" 0')
    sheet = book.sheet("episodes")
    at = sheet.rows[0].index("prior_episodes")
    sheet.rows[2][at] = Styled(1, 3)


@book_place("way of writing a cell", TEXT)
def merged_away(book: Book, text: str):
    sheet = book.sheet("submission")
    sheet.rows[3].append(text)
    sheet.elements["mergeCells"] = '<mergeCells count="1"><mergeCell ref="B4:C4"/></mergeCells>'


@book_place("strings of the book", TEXT)
def string_not_used(book: Book, text: str):
    book.strings.append(f"<si><t>{escape(text)}</t></si>")


@book_place("strings of the book", {"name", "number"})
def string_phonetic(book: Book, text: str):
    book.strings.append(
        f'<si><t>female</t><rPh sb="0" eb="1"><t>{escape(text)}</t></rPh><phoneticPr '
        'fontId="0"/></si>'
    )
