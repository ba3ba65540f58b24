"""Places in the objects of a workbook: tables, drawings, caches, links to other files, macros,
pictures."""

from xml.sax.saxutils import escape, quoteattr

from tests.corpus.planted import SHORT, TEXT, book_place, short
from tests.corpus.sheet import HEAD, MAIN, OFFICE
from tests.corpus.workbook import Book

SML = "application/vnd.openxmlformats-officedocument.spreadsheetml"
OXML = "application/vnd.openxmlformats-officedocument"
DRAW = (
    'xmlns:xdr="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing" '
    'xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main"'
)
WORD = short(40, " ,;:/()'&+*@\"#")


def add_table(
    book: Book, name: str = "Table1", column: str = "episode_id", label: str = "", comment: str = ""
) -> None:
    """A list object on two cells of the episodes."""
    sheet = book.sheet("episodes")
    columns = (
        f'<tableColumn id="1" name={quoteattr(column)} totalsRowLabel={quoteattr(label)}/>'
        '<tableColumn id="2" name="patient_id"/>'
    )
    body = (
        f'id="1" name={quoteattr(name)} displayName={quoteattr(name)} comment={quoteattr(comment)} '
        'ref="A1:B4"'
    )
    xml = (
        f'{HEAD}<table xmlns="{MAIN}" {body}><autoFilter ref="A1:B4"/>'
        f'<tableColumns count="2">{columns}</tableColumns></table>'
    )
    link = book.add_part("xl/tables/table1.xml", xml, f"{SML}.table+xml", "table", sheet)
    sheet.elements["tableParts"] = f'<tableParts count="1"><tablePart r:id="{link}"/></tableParts>'


def add_drawing(book: Book, shape: str) -> None:
    """A drawing on the episodes' sheet."""
    sheet = book.sheet("episodes")
    place = (
        "<xdr:col>0</xdr:col><xdr:colOff>0</xdr:colOff><xdr:row>0</xdr:row>"
        "<xdr:rowOff>0</xdr:rowOff>"
    )
    body = (
        f"<xdr:twoCellAnchor><xdr:from>{place}</xdr:from><xdr:to>{place}</xdr:to>{shape}<xdr:clientData/>"
        "</xdr:twoCellAnchor>"
    )
    xml = f"{HEAD}<xdr:wsDr {DRAW}>{body}</xdr:wsDr>"
    link = book.add_part("xl/drawings/drawing1.xml", xml, f"{OXML}.drawing+xml", "drawing", sheet)
    sheet.elements["drawing"] = f'<drawing r:id="{link}"/>'


def add_pivot(book: Book, item: str, field: str = "group") -> None:
    """A pivot cache with one field and one shared item."""
    fields = (
        f'<cacheField name={quoteattr(field)}><sharedItems count="1"><s v={quoteattr(item)}/>'
        "</sharedItems></cacheField>"
    )
    source = (
        '<cacheSource type="worksheet"><worksheetSource ref="A1:B4" '
        'sheet="episodes"/></cacheSource>'
    )
    body = f'{source}<cacheFields count="1">{fields}</cacheFields>'
    xml = (
        f'{HEAD}<pivotCacheDefinition xmlns="{MAIN}" '
        f'refreshedBy="desk">{body}</pivotCacheDefinition>'
    )
    link = book.add_part(
        "xl/pivotCache/pivotCacheDefinition1.xml",
        xml,
        f"{SML}.pivotCacheDefinition+xml",
        "pivotCacheDefinition",
    )
    book.elements["pivotCaches"] = (
        f'<pivotCaches><pivotCache cacheId="1" r:id="{link}"/></pivotCaches>'
    )


@book_place("table object", {"name", "number"}, WORD)
def table_name(book: Book, text: str):
    add_table(book, name="T_" + text.replace("-", "_"))


@book_place("table object", SHORT)
def table_column_name(book: Book, text: str):
    add_table(book, column=text)


@book_place("table object", SHORT)
def table_total_label(book: Book, text: str):
    add_table(book, label=text)


@book_place("table object", TEXT)
def table_comment(book: Book, text: str):
    add_table(book, comment=text)


@book_place("drawing", TEXT)
def text_box(book: Book, text: str):
    shape = (
        '<xdr:sp macro="" textlink=""><xdr:nvSpPr><xdr:cNvPr id="2" name="TextBox 1"/>'
        '<xdr:cNvSpPr txBox="1"/></xdr:nvSpPr><xdr:spPr/><xdr:txBody><a:bodyPr/><a:p><a:r>'
        f"<a:t>{escape(text)}</a:t></a:r></a:p></xdr:txBody></xdr:sp>"
    )
    add_drawing(book, shape)


@book_place("drawing", SHORT)
def shape_description(book: Book, text: str):
    shape = (
        '<xdr:sp macro="" textlink=""><xdr:nvSpPr><xdr:cNvPr id="2" name="Oval 1" '
        f"descr={quoteattr(text)}/><xdr:cNvSpPr/></xdr:nvSpPr><xdr:spPr/></xdr:sp>"
    )
    add_drawing(book, shape)


@book_place("drawing", SHORT)
def picture_bytes(book: Book, text: str):
    picture = (
        b"\xff\xd8\xff\xfe"
        + (len(text.encode()) + 2).to_bytes(2, "big")
        + text.encode()
        + b"\xff\xd9"
    )
    book.add_part("xl/media/image1.jpeg", picture, "image/jpeg", "image", book.sheet("episodes"))


@book_place("drawing", TEXT)
def legacy_note_shape(book: Book, text: str):
    xml = (
        "<xml "
        f'xmlns:v="urn:schemas-microsoft-com:vml"><v:shape><v:textbox><div>{escape(text)}</div>'
        "</v:textbox></v:shape></xml>"
    )
    sheet = book.sheet("episodes")
    link = book.add_part(
        "xl/drawings/vmlDrawing1.vml", xml, f"{OXML}.vmlDrawing", "vmlDrawing", sheet
    )
    sheet.elements["legacyDrawing"] = f'<legacyDrawing r:id="{link}"/>'


@book_place("drawing", TEXT)
def chart_title(book: Book, text: str):
    space = (
        'xmlns:c="http://schemas.openxmlformats.org/drawingml/2006/chart" '
        'xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main"'
    )
    xml = (
        f"{HEAD}<c:chartSpace "
        f"{space}><c:chart><c:title><c:tx><c:rich><a:p><a:r><a:t>{escape(text)}</a:t></a:r></a:p>"
        "</c:rich></c:tx></c:title></c:chart></c:chartSpace>"
    )
    book.add_part(
        "xl/charts/chart1.xml", xml, f"{OXML}.drawingml.chart+xml", "chart", book.sheet("episodes")
    )


@book_place("pivot cache", TEXT)
def pivot_records(book: Book, text: str):
    add_pivot(book, "a")
    xml = (
        f'{HEAD}<pivotCacheRecords xmlns="{MAIN}" count="1"><r><s '
        f"v={quoteattr(text)}/></r></pivotCacheRecords>"
    )
    book.add_part(
        "xl/pivotCache/pivotCacheRecords1.xml",
        xml,
        f"{SML}.pivotCacheRecords+xml",
        "pivotCacheRecords",
    )


def add_external(book: Book, target: str, value: str = "1") -> None:
    """A link to another workbook with one remembered cell."""
    inside = (
        '<sheetNames><sheetName val="S"/></sheetNames><sheetDataSet><sheetData sheetId="0"><row '
        f'r="1"><cell r="A1" t="str"><v>{escape(value)}</v></cell></row></sheetData></sheetDataSet>'
    )
    xml = (
        f'{HEAD}<externalLink xmlns="{MAIN}">'
        f'<externalBook xmlns:r="{OFFICE}" r:id="rId1">{inside}</externalBook></externalLink>'
    )
    link = book.add_part(
        "xl/externalLinks/externalLink1.xml", xml, f"{SML}.externalLink+xml", "externalLink"
    )
    rels = (
        f"{HEAD}<Relationships "
        'xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship '
        f'Id="rId1" Type="{OFFICE}/externalLinkPath" Target={quoteattr(target)} '
        'TargetMode="External"/>'
        "</Relationships>"
    )
    book.parts["xl/externalLinks/_rels/externalLink1.xml.rels"] = rels.encode()
    book.elements["externalReferences"] = (
        f'<externalReferences><externalReference r:id="{link}"/></externalReferences>'
    )


@book_place("link to another file", {"name", "number", "network"})
def external_target(book: Book, text: str):
    add_external(book, f"file:///C:/clinic/{text}.xlsx")


@book_place("link to another file", TEXT)
def external_value(book: Book, text: str):
    add_external(book, "list.xlsx", text)


@book_place("link to another file", {"name", "network", "number"})
def data_connection(book: Book, text: str):
    entry = (
        f'<connection id="1" name="q" description={quoteattr(text)} type="1" refreshedVersion="6">'
        '<dbPr connection="DSN=clinic" command="select"/></connection>'
    )
    book.add_part(
        "xl/connections.xml",
        f'{HEAD}<connections xmlns="{MAIN}">{entry}</connections>',
        f"{SML}.connections+xml",
        "connections",
    )


@book_place("macro and settings", TEXT)
def macro_bytes(book: Book, text: str):
    book.add_part(
        "xl/vbaProject.bin",
        b"\xd0\xcf\x11\xe0" + text.encode() + b"\0",
        "application/vnd.ms-office.vbaProject",
        "http://schemas.microsoft.com/office/2006/relationships/vbaProject",
    )


@book_place("macro and settings", SHORT)
def printer_settings(book: Book, text: str):
    sheet = book.sheet("episodes")
    content = text.encode("utf-16-le").ljust(220, b"\0")
    link = book.add_part(
        "xl/printerSettings/printerSettings1.bin",
        content,
        f"{SML}.printerSettings",
        "printerSettings",
        sheet,
    )
    sheet.elements["pageSetup"] = f'<pageSetup orientation="portrait" r:id="{link}"/>'


@book_place("thumbnail", SHORT)
def thumbnail(book: Book, text: str):
    picture = (
        b"\xff\xd8\xff\xfe"
        + (len(text.encode()) + 2).to_bytes(2, "big")
        + text.encode()
        + b"\xff\xd9"
    )
    kind = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
    book.add_part("docProps/thumbnail.jpeg", picture, "image/jpeg", kind, "package")


@book_place("macro and settings", {"name", "email"})
def users_of_revisions(book: Book, text: str):
    user = f'<userInfo guid="{{0}}" name={quoteattr(text)} id="-1" dateTime="2025-03-01T09:00:00"/>'
    book.add_part(
        "xl/revisions/userNames.xml",
        f'{HEAD}<users xmlns="{MAIN}" count="1">{user}</users>',
        f"{SML}.userNames+xml",
        "usernames",
    )


@book_place("macro and settings", SHORT)
def theme_name(book: Book, text: str):
    space = 'xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main"'
    xml = f"{HEAD}<a:theme {space} name={quoteattr(text)}><a:themeElements/></a:theme>"
    book.add_part("xl/theme/theme1.xml", xml, f"{OXML}.theme+xml", "theme")


@book_place("macro and settings", TEXT)
def embedded_text_file(book: Book, text: str):
    book.add_part(
        "xl/embeddings/oleObject1.bin",
        text.encode("utf-16-le"),
        f"{OXML}.oleObject",
        "oleObject",
        book.sheet("episodes"),
    )
