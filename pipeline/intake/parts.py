"""The texts that a workbook holds outside of its sheets' cells, read from the parts of its archive,
and what of it cannot be searched.

Which part holds what is said in ECMA-376 (Office Open XML), part 1; what programs write into it by
themselves is common practice. Nothing of these texts is kept: the reader takes cells, and these are
looked at so that a site learns what it would have handed on. The parts were looked at by
`pipeline.intake.container` before, so that none of them is large or declares entities.
"""

import html
import re
import zipfile
from collections.abc import Collection, Iterator

from pipeline.intake.handed import Judged, Loose
from pipeline.intake.own_sheets import plain
from pipeline.intake.patterns import DATE_CELL

SEARCHABLE = re.compile(
    r".*/|\[Content_Types\]\.xml|(?:.+/)?_rels/[^/]*\.rels|docProps/(?:app|core|custom)\.xml|docMetadata/LabelInfo\.xml|customXml/[^/]+\.xml"
    r"|xl/(?:workbook|styles|sharedStrings|calcChain|metadata)\.xml|xl/(?:theme|tables|persons|featurePropertyBag)/[^/]+\.xml"
    r"|xl/worksheets/[^/]+\.xml|xl/printerSettings/[^/]+\.bin|xl/(?:comments/)?comments?\d*\.xml|xl/drawings/[^/]+\.vml|xl/drawings/drawing\d+\.xml",
    re.IGNORECASE,
)
SHEET = re.compile(r"xl/worksheets/[^/]+\.xml$", re.IGNORECASE)
COMMENTS = re.compile(r"xl/(?:comments/)?comments?\d*\.xml", re.IGNORECASE)
# some programs write an empty one for every sheet
DRAWING = re.compile(r"xl/drawings/drawing\d+\.xml$", re.IGNORECASE)
READ_ELSEWHERE = re.compile(
    r"xl/(?:sharedStrings|calcChain)\.xml|docProps/custom\.xml|\[Content_Types\]\.xml",
    re.IGNORECASE,
)
CELL = re.compile(rb"<(?:\w+:)?c\s(?:[^>]*?\s)?r=[\"']([A-Z]+\d+)[\"']")
READING = re.compile(r"<(?:\w+:)?rPh\s.*?</(?:\w+:)?rPh>", re.DOTALL)
UNSEEN = "text that no cell shows"
TOKEN = re.compile(
    r"<!--(?P<remark>.*?)-->|<\?(?P<order>.*?)\?>|<(?P<tag>[\w:.-]+)(?P<attributes>(?:[^>\"']|\"[^\"]*\"|'[^']*')*)>|<[^>]*>|(?P<text>[^<]+)",
    re.DOTALL,
)
SHEET_DATA = re.compile(r"<(?:\w+:)?sheetData\W")
REMARK = re.compile(r"<!--.*?-->", re.DOTALL)
ATTRIBUTE = re.compile(r"""\s(?!xmlns)([\w:.-]+)=(?:"([^"]*)"|'([^']*)')""")
REFERENCE = r"\$?[A-Z]{1,3}\$?(?:\d{1,6}|10[0-4]\d{4})"
REFERENCES = re.compile(rf"(?:{REFERENCE}(?::{REFERENCE})?\s*)+")
# no words: areas of cells, long codes of programs, colours, and addresses of the standards
# themselves
FORMAL = re.compile(
    rf"{REFERENCE}:{REFERENCE}|(?<![\w.:])\$?\d{{1,7}}:\$?\d{{1,7}}(?![\w.:])|\{{?[0-9A-Fa-f]{{8}}(?:-[0-9A-Fa-f]{{4}}){{3}}-[0-9A-Fa-f]{{12}}\}}?"
    r"|(?<!\w)(?=[0-9A-Fa-f]*[A-Fa-f])(?:[0-9A-Fa-f]{6}|[0-9A-Fa-f]{8}|[0-9A-Fa-f]{12}|[0-9A-Fa-f]{16,})(?!\w)|(?:https?://(?:schemas\.(?:openxmlformats\.org|microsoft\.com)|www\.w3\.org|purl\.o[a-z]+\.org|purl\.org)"
    r"|urn:schemas)[^\s\"'<>]*"
)
OWN_DRIVE = re.compile(r"https?://\S*")  # where a program keeps the file: it writes that by itself
NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?%?")
ELSEWHERE = "hidden part of the workbook"
DRAWN = (ELSEWHERE, "text box")  # places where numbers are measures of how something is drawn
TYPED = re.compile(
    "property (?!titles)|author|code name|number format"
)  # what a person types: AB123456 is no cell there
# what a program always writes there, so that it is safe to drop; anything else is looked at
WRITTEN_BY_PROGRAMS = {
    **dict.fromkeys(
        ("created", "modified", "lastPrinted"),
        # when the file was saved
        re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|[+-]\d\d:\d\d)?"),
    ),
    # its version, which may look as an address does
    "Application": re.compile(r"(?<=[A-Za-z][/ ])\d+(?:\.\d+)+"),
    "AppVersion": re.compile(r"\d{1,3}\.\d{1,4}"),
    "TotalTime": re.compile(r"\d{1,6}"),  # minutes of editing
    # codes of colours and of the shapes of letters, fonts of Microsoft; other fonts are looked at
    **dict.fromkeys(
        ("color", "srgbClr", "sysClr", "latin", "ea", "cs", "font", "rFont", "name"),
        re.compile(
            r"(?:[0-9A-Fa-f]{6}|[0-9A-Fa-f]{8}|[0-9A-Fa-f]{20})|-?\d+(?:\.\d+)?|(?:MS|ＭＳ) .*"
        ),
    ),
}
# xl/printerSettings holds what the printer's driver writes: the printer, chosen of a list, and the
# driver's own bytes. Nobody types there. of a defined name; a person types them
NOTES_ON_NAME = ("comment", "description", "help", "statusBar", "customMenu")
LISTED_WITH_SHEET = {
    "dataValidation",
    "formula1",
    "formula2",
    "definedName",
    "oddHeader",
    "oddFooter",
    "evenHeader",
    "evenFooter",
    "firstHeader",
    "firstFooter",
}
PLACES = {  # element: how its place is called
    "Manager": "property manager", "Company": "property company",
    "HyperlinkBase": "property company", "Template": "property company",
    "lpstr": "property titles of parts",
    "author": "author", "person": "author", "fileSharing": "author", "cellStyle": "cell style",
    "table": "table of the spreadsheet", "protectedRange": "protected area",
    "scenario": "scenario", "inputCells": "scenario", "hyperlink": "link", "Relationship": "link",
    "cfRule": "conditional format", "formula": "conditional format",
    "f": "rule of a sheet", "filter": "filter or sorting", "customFilter": "filter or sorting",
    "sortCondition": "filter or sorting", "dateGroupItem": "filter or sorting",
    "sheetPr": "code name", "workbookPr": "code name", "Application": "property application",
    "AppVersion": "property application", "numFmt": "number format", "absPath": "path of the file",
}  # fmt: skip
AUTHORS = ("author", "property company", "property creator", "property lastModifiedBy")
# ECMA-376, part 1, 18.3.1.46
PAGE_CODE = re.compile(r'&(?:"[^"]*"|K[0-9A-F]{6}|\d+|[A-Z&])', re.IGNORECASE)


def find_unsearchable(
    archive: zipfile.ZipFile, n_sheets: int, in_order: Collection[str] = ()
) -> str | None:
    """What a workbook with `n_sheets` readable sheets holds that cannot be searched, as a sentence;
    nothing if there is nothing. The sheets `in_order` are known to hold no cell twice."""
    names = archive.namelist()
    drawn = (archive.read(name) for name in names if DRAWING.match(name))
    if not all(SEARCHABLE.fullmatch(name) for name in names) or any(
        b"wsDr" not in d or b"nchor" in d for d in drawn
    ):
        return ""
    sheets = [name for name in names if SHEET.match(name)]
    if len(sheets) != n_sheets:
        return "It holds a sheet that no list names."
    for cells in (CELL.findall(archive.read(name)) for name in sheets if name not in in_order):
        if len(set(cells)) < len(cells):
            return "A cell in it is written twice."
    return None


def list_part_texts(archive: zipfile.ZipFile, known: set[str]) -> Iterator[Loose]:
    """All texts outside of cells that only the parts show.

    `known` are plain texts of cells and comments that are judged where they stand.
    """
    yield Loose(
        archive.comment.decode("utf-8", "replace"), "workbook", "comment of the archive", "text"
    )
    for part in archive.infolist():
        yield Loose(part.filename.rpartition("/")[2], "workbook", "name of a part", "text")
        yield Loose(
            part.comment.decode("utf-8", "replace"), "workbook", "comment of the archive", "text"
        )
        if part.filename.endswith((".xml", ".rels", ".vml")):
            content = archive.read(part).decode("utf-8-sig", "replace")
            yield from list_by_kind(part.filename, content, known)
            yield from sweep(part.filename, content)


def list_by_kind(name: str, content: str, known: set[str]) -> Iterator[Loose]:
    """Texts of those parts that have a form of their own."""
    if name == "xl/sharedStrings.xml":
        yield from list_left_strings(content, known)
    if name == "xl/sharedStrings.xml" or SHEET.match(name):
        yield from list_readings(content)
    if COMMENTS.fullmatch(name):
        for text in map(
            join_runs, re.findall(r"<(?:\w+:)?comment\s.*?</(?:\w+:)?comment>", content, re.DOTALL)
        ):
            yield from (
                [] if plain(text) in known else [Loose(text, "workbook", "comment", "remark")]
            )


def sweep(name: str, content: str) -> Iterator[Loose]:
    """Whatever else stands in a part, in attributes, between tags, or in remarks to it:
    all words but those of programs."""
    if SHEET.match(name):
        data = SHEET_DATA.search(content)
        end = content.rfind("sheetData>") if data else 0
        content = (
            content[: data.start()]
            + "".join(REMARK.findall(content[data.start() : end]))
            + content[end:]
            if data
            else content
        )
    elif READ_ELSEWHERE.fullmatch(name):
        content = "".join(REMARK.findall(content))
    yield from sweep_tokens(name, content)


def sweep_tokens(name: str, content: str) -> Iterator[Loose]:
    """The words of programs left out, all texts of a piece of a part."""
    element = ""
    for token in TOKEN.finditer(content):
        if token["tag"]:
            element = token["tag"].rpartition(":")[2]
        if token["text"] and element == "t" and COMMENTS.fullmatch(name):
            continue  # of a comment, which is judged as a whole
        place = name_place(name, element)
        for text in list_token(token, element, place):
            judged: Judged = "author" if place in AUTHORS else "text"
            yield Loose(text, "workbook", "remark in a part" if token["remark"] else place, judged)
        if token["tag"] and element == "definedName":
            for text in (
                one or other
                for key, one, other in ATTRIBUTE.findall(token["attributes"])
                if key in NOTES_ON_NAME
            ):
                yield Loose(html.unescape(text), "workbook", "comment of a defined name", "remark")


def list_token(token: re.Match, element: str, place: str) -> Iterator[str]:
    """The words of a tag's attributes, of a text between tags, or of a remark;
    numbers only where they may tell something."""
    if token["remark"] or token["order"]:
        yield html.unescape(token["remark"] or token["order"])
        return
    if element == "dateGroupItem":
        yield DATE_CELL
    if token[0].startswith(tuple(f"<{skipped}" for skipped in LISTED_WITH_SHEET)):
        return
    values = [
        html.unescape(one or other)
        for _, one, other in ATTRIBUTE.findall(token["attributes"] or "")
    ]
    values += (
        [html.unescape(token["text"])] if token["text"] and element not in LISTED_WITH_SHEET else []
    )
    if element == "numFmt":
        values = [text for value in values for text in list_format_texts(value)]
    if by_program := WRITTEN_BY_PROGRAMS.get(element):
        is_whole = element != "Application"
        values = [
            FORMAL.sub(" ", by_program.sub(" ", value)) if not is_whole else value
            for value in values
        ]
        values = [
            value for value in values if not (is_whole and by_program.fullmatch(value.strip()))
        ]
    for value in values:
        if TYPED.match(place):
            yield from filter(None, [value.strip()])
            continue
        bare = OWN_DRIVE.sub(" ", value) if element == "absPath" else value
        is_typed = not REFERENCES.fullmatch(bare) and (
            place not in DRAWN or not NUMBER.fullmatch(bare.strip())
        )
        if is_typed and (typed := FORMAL.sub(" ", bare).strip()):
            yield typed


def name_place(name: str, element: str) -> str:
    """How the place of a text is called."""
    if name == "docProps/core.xml":
        return f"property {element}"
    if name.startswith("customXml/"):
        return "custom part"
    return "text box" if name.endswith(".vml") else PLACES.get(element, ELSEWHERE)


def list_left_strings(content: str, known: set[str]) -> Iterator[Loose]:
    """Shared texts that no cell shows any more."""
    for text in re.findall(r"<(?:\w+:)?si(?:\s[^>]*)?>(.*?)</(?:\w+:)?si>", content, re.DOTALL):
        shown = join_runs(READING.sub("", text))
        if shown and plain(shown) not in known:
            yield Loose(shown, "workbook", UNSEEN, "text")


def list_readings(content: str) -> Iterator[Loose]:
    """Readings that were added to a text, as in Japanese: no cell shows them."""
    for text in map(
        join_runs, (match[0] for match in READING.finditer(content)) if "rPh" in content else ()
    ):
        yield Loose(text, "workbook", UNSEEN, "text")


def list_format_texts(code: str) -> list[str]:
    """What a person wrote into a number format: texts in quotes, signs behind a backslash,
    a currency of their own, and bare words."""
    typed = re.search(
        r"[1-9]", re.sub(r'"[^"]*"|\[[^\]]*\]', "", code)
    )  # no format has such digits, so that 0 is none of its signs
    signs = r'"([^"]*)"|\\(.)|_.|\*.|[#?@]' + ("" if typed else "|0")
    spelled = re.sub(signs, lambda sign: sign[1] or sign[2] or " ", code)
    currencies = [text.partition("-")[0] for text in re.findall(r"\[\$([^\]]*)\]", spelled)]
    return [
        *currencies,
        *filter(None, (part.strip() for part in re.sub(r"\[[^\]]*\]", " ", spelled).split(";"))),
    ]


def list_entries(formula: str) -> list[str]:
    """The entries of a list of what may be entered, each by itself."""
    return [
        entry
        for text in re.findall(r'"([^"]*)"', formula)
        for entry in re.split(r"[,;]", text)
        if entry.strip()
    ]


def join_runs(content: str) -> str:
    """The text of an element that is written in runs."""
    return html.unescape("".join(re.findall(r"<(?:\w+:)?t(?:\s[^>]*)?>([^<]*)<", content)))


def strip_page_codes(text: str) -> str:
    """What a person wrote into a page header or footer: without page numbers and fonts."""
    return PAGE_CODE.sub(" ", text)
