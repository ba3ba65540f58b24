"""Places in a workbook's other elements and parts: rules, notes, properties, links, caches."""

from xml.sax.saxutils import escape, quoteattr

from tests.corpus.planted import SHORT, book_place, short
from tests.corpus.sheet import HEAD, MAIN, OFFICE, Sheet
from tests.corpus.workbook import Book

SML = "application/vnd.openxmlformats-officedocument.spreadsheetml"
X14 = 'xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"'
NAME = short(60)


def quoted(text: str) -> str:
    """A text as a constant inside a formula."""
    return escape('"' + text.replace('"', '""') + '"')


def add_comment(book: Book, text: str, author: str = "clinic") -> None:
    """A note on a cell of the episodes, by that author."""
    sheet = book.sheet("episodes")
    body = (
        '<comment ref="B3" authorId="0"><text><r><t '
        f'xml:space="preserve">{escape(text)}</t></r></text></comment>'
    )
    xml = (
        f'{HEAD}<comments xmlns="{MAIN}"><authors><author>{escape(author)}</author></authors>'
        f"<commentList>{body}</commentList></comments>"
    )
    book.add_part("xl/comments1.xml", xml, f"{SML}.comments+xml", "comments", sheet)


def rule(kind: str, body: str, **more: str) -> str:
    """A data validation of the cells F2:F9."""
    attributes = "".join(f" {name}={quoteattr(value)}" for name, value in more.items())
    inside = (
        f'<dataValidation type="{kind}" allowBlank="1" '
        f'sqref="F2:F9"{attributes}>{body}</dataValidation>'
    )
    return f'<dataValidations count="1">{inside}</dataValidations>'


@book_place("comment")
def comment_text(book: Book, text: str):
    add_comment(book, text)


@book_place("comment", SHORT)
def comment_author(book: Book, text: str):
    add_comment(book, "no", author=text)


@book_place("comment")
def threaded_comment(book: Book, text: str):
    space = "http://schemas.microsoft.com/office/spreadsheetml/2018/threadedcomments"
    kind = "http://schemas.microsoft.com/office/2017/10/relationships"
    entry = (
        f'<threadedComment ref="B3" dT="2025-03-01T09:00:00" personId="{{0}}" id="{{1}}">'
        f"<text>{escape(text)}</text></threadedComment>"
    )
    xml = f'{HEAD}<ThreadedComments xmlns="{space}">{entry}</ThreadedComments>'
    book.add_part(
        "xl/threadedComments/threadedComment1.xml",
        xml,
        "application/vnd.ms-excel.threadedcomments+xml",
        f"{kind}/threadedComment",
        book.sheet("episodes"),
    )


@book_place("defined name", {"name", "number"}, short(24, " ,;:/()'&+*@\"#"))
def defined_name(book: Book, text: str):
    name = "_" + text.replace(" ", "_").replace("-", "_").replace(".", "_")
    book.elements["definedNames"] = (
        "<definedNames><definedName "
        f"name={quoteattr(name)}>episodes!$A$1</definedName></definedNames>"
    )


@book_place("data validation", SHORT, short(80, ","))
def validation_list(book: Book, text: str):
    book.sheet("episodes").elements["dataValidations"] = rule(
        "list", f"<formula1>{quoted('yes,no,' + text)}</formula1>"
    )


@book_place("data validation")
def validation_prompt(book: Book, text: str):
    book.sheet("episodes").elements["dataValidations"] = rule(
        "whole", "<formula1>0</formula1>", showInputMessage="1", prompt=text
    )


@book_place("data validation")
def validation_error(book: Book, text: str):
    more = {"errorTitle": "Look", "error": text}
    book.sheet("followups").elements["dataValidations"] = rule(
        "whole", "<formula1>0</formula1>", **more
    )


@book_place("data validation")
def validation_hidden_list(book: Book, text: str):
    book.sheets.append(Sheet("lists", [["right"], ["left"], [text]], state="hidden"))
    book.sheet("treatments").elements["dataValidations"] = rule(
        "list", "<formula1>lists!$A$1:$A$3</formula1>"
    )


@book_place("conditional format", SHORT)
def conditional_text(book: Book, text: str):
    inside = (
        f'<cfRule type="containsText" priority="1" operator="containsText" text={quoteattr(text)}>'
        "<formula>1</formula></cfRule>"
    )
    book.sheet("followups").elements["conditionalFormatting"] = (
        f'<conditionalFormatting sqref="B2:B9">{inside}</conditionalFormatting>'
    )


@book_place("header or footer")
def page_header(book: Book, text: str):
    book.sheet("episodes").elements["headerFooter"] = (
        f"<headerFooter><oddHeader>&amp;L{escape(text)}&amp;R&amp;D</oddHeader></headerFooter>"
    )


@book_place("hyperlink", {"email", "network", "name", "number"}, NAME)
def hyperlink_target(book: Book, text: str):
    sheet = book.sheet("episodes")
    sheet.relations.append(
        (
            "rIdH",
            f"{OFFICE}/hyperlink",
            text if ":" in text or "\\" in text else f"mailto:{text.replace(' ', '.')}",
        )
    )
    sheet.elements["hyperlinks"] = '<hyperlinks><hyperlink ref="A3" r:id="rIdH"/></hyperlinks>'


@book_place("hyperlink")
def hyperlink_tip(book: Book, text: str):
    link = f'<hyperlink ref="A3" location="episodes!A1" tooltip={quoteattr(text)}/>'
    book.sheet("episodes").elements["hyperlinks"] = f"<hyperlinks>{link}</hyperlinks>"


@book_place("hyperlink", SHORT)
def hyperlink_display(book: Book, text: str):
    link = f'<hyperlink ref="A3" location="episodes!A1" display={quoteattr(text)}/>'
    book.sheet("followups").elements["hyperlinks"] = f"<hyperlinks>{link}</hyperlinks>"


@book_place("filter and sort", SHORT)
def filter_value(book: Book, text: str):
    inside = (
        '<filterColumn colId="1"><filters><filter val="x"/><filter '
        f"val={quoteattr(text)}/></filters></filterColumn>"
    )
    book.sheet("episodes").elements["autoFilter"] = (
        f'<autoFilter ref="A1:AB13">{inside}</autoFilter>'
    )


@book_place("filter and sort", SHORT, short(80, ","))
def sort_list(book: Book, text: str):
    inside = f'<sortCondition ref="B2:B13" customList={quoteattr("first," + text)}/>'
    book.sheet("episodes").elements["sortState"] = f'<sortState ref="A2:AB13">{inside}</sortState>'


@book_place("name in the code", {"name", "number"}, short(28))
def sheet_code_name(book: Book, text: str):
    book.sheet("episodes").elements["sheetPr"] = (
        f"<sheetPr codeName={quoteattr(text.replace(' ', '_'))}/>"
    )


@book_place("name in the code", {"name", "number"}, short(28))
def book_code_name(book: Book, text: str):
    book.elements["workbookPr"] = f"<workbookPr codeName={quoteattr(text.replace(' ', '_'))}/>"


@book_place("path in the book", {"name", "number", "network", "date"})
def absolute_path(book: Book, text: str):
    space = 'xmlns:x15ac="http://schemas.microsoft.com/office/spreadsheetml/2010/11/ac"'
    mc = 'xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006"'
    path = quoteattr(f"C:\\Users\\{text}\\Documents\\")
    book.elements["alternate"] = (
        f'<mc:AlternateContent {mc}><mc:Choice Requires="x15"><x15ac:absPath {space} url={path}/>'
        "</mc:Choice></mc:AlternateContent>"
    )


@book_place("path in the book", {"name", "email"})
def shared_by(book: Book, text: str):
    book.elements["fileSharing"] = (
        f'<fileSharing readOnlyRecommended="1" userName={quoteattr(text)}/>'
    )


@book_place("extension list")
def extension_of_book(book: Book, text: str):
    book.elements["extLst"] = (
        f'<extLst><ext uri="{{0}}"><own xmlns="urn:own">{escape(text)}</own></ext></extLst>'
    )


@book_place("extension list", SHORT)
def extension_of_styles(book: Book, text: str):
    book.styles["extLst"] = (
        f'<extLst><ext uri="{{0}}"><own xmlns="urn:own" name={quoteattr(text)}/></ext></extLst>'
    )


@book_place("styles", SHORT, NAME)
def style_name(book: Book, text: str):
    book.styles["cellStyles"] = (
        f'<cellStyles count="1"><cellStyle name={quoteattr(text)} xfId="0"/></cellStyles>'
    )


@book_place("scenario and range", SHORT)
def scenario_name(book: Book, text: str):
    inside = (
        f'<scenario name={quoteattr(text)} count="1" user="desk" comment="c"><inputCells r="C2" '
        'val="50"/></scenario>'
    )
    book.sheet("episodes").elements["scenarios"] = f"<scenarios>{inside}</scenarios>"


@book_place("scenario and range")
def scenario_comment(book: Book, text: str):
    inside = (
        f'<scenario name="s" count="1" user="desk" comment={quoteattr(text)}><inputCells r="C2" '
        'val="50"/></scenario>'
    )
    book.sheet("episodes").elements["scenarios"] = f"<scenarios>{inside}</scenarios>"


@book_place("scenario and range", {"name", "email"})
def protected_range(book: Book, text: str):
    inside = f'<protectedRange sqref="A1:B2" name={quoteattr(text)}/>'
    book.sheet("episodes").elements["protectedRanges"] = (
        f"<protectedRanges>{inside}</protectedRanges>"
    )


def add_property(book: Book, xml: str) -> None:
    """A custom property of the document."""
    space = "http://schemas.openxmlformats.org/officeDocument/2006/custom-properties"
    types = "http://schemas.openxmlformats.org/officeDocument/2006/docPropsVTypes"
    body = f'{HEAD}<Properties xmlns="{space}" xmlns:vt="{types}">{xml}</Properties>'
    book.add_part(
        "docProps/custom.xml",
        body,
        "application/vnd.openxmlformats-officedocument.custom-properties+xml",
        "custom-properties",
        "package",
    )


GUID = 'fmtid="{D5CDD505-2E9C-101B-9397-08002B2CF9AE}" pid="2"'


@book_place("custom property")
def custom_property(book: Book, text: str):
    add_property(
        book, f'<property {GUID} name="Checked"><vt:lpwstr>{escape(text)}</vt:lpwstr></property>'
    )


@book_place("custom property", SHORT, NAME)
def custom_property_name(book: Book, text: str):
    add_property(book, f"<property {GUID} name={quoteattr(text)}><vt:bool>1</vt:bool></property>")
