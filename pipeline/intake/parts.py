"""The texts that a workbook holds outside of its sheets' cells, read from the parts of its archive, and parts that cannot be searched.

Which part holds what is said in ECMA-376 (Office Open XML), part 1; what programs write into it by themselves is common practice.
The parts were looked at by `pipeline.intake.container` before, so that none of them is large or declares entities.
"""

import html
import re
import zipfile
from collections.abc import Iterator
from typing import Literal

from pipeline.intake.handed import Loose
from pipeline.intake.own_sheets import plain

SEARCHABLE = re.compile(
    r".*/|\[Content_Types\]\.xml|(?:.+/)?_rels/[^/]*\.rels|docProps/(?:app|core|custom)\.xml|docMetadata/LabelInfo\.xml|customXml/[^/]+\.xml"
    r"|xl/(?:workbook|styles|sharedStrings|calcChain|metadata)\.xml|xl/(?:theme|tables|persons|featurePropertyBag)/[^/]+\.xml"
    r"|xl/worksheets/[^/]+\.xml|xl/printerSettings/[^/]+\.bin|xl/(?:comments/)?comments?\d*\.xml|xl/drawings/[^/]+\.vml|xl/drawings/drawing\d+\.xml",
    re.IGNORECASE,
)
SHEET = re.compile(r"xl/worksheets/[^/]+\.xml$", re.IGNORECASE)
DRAWING = re.compile(r"xl/drawings/drawing\d+\.xml$", re.IGNORECASE)  # some programs write an empty one for every sheet
OF_PROGRAMS = re.compile(r"schemas\.microsoft\.com|schemas\.openxmlformats\.org|sharepoint", re.IGNORECASE)
READING = re.compile(r"<(?:\w+:)?rPh\s.*?</(?:\w+:)?rPh>", re.DOTALL)
UNSEEN = "text that no cell shows"
TAG = re.compile(r"<[^>]*>")
PAGE_CODE = re.compile(
    r'&(?:"[^"]*"|K[0-9A-F]{6}|\d+|[A-Z&])', re.IGNORECASE
)  # ECMA-376, part 1, 18.3.1.46: page number, date, font
PAGE_WORDS = re.compile(
    r"(?<!\S)(?:page|of|seite|von|blatt|sur|página|pagina|de|di|van|strona|(?-i:z))(?!\S)", re.IGNORECASE
)  # common practice

Judged = Literal["name", "remark", "patterns"]
ATTRIBUTES: list[tuple[str, str, tuple[str, ...], str, Judged]] = [  # part, element, attributes, how the place is called, how it is judged
    (r"xl/workbook\.xml", "definedName", ("comment", "description", "help", "statusBar", "customMenu"), "defined name", "name"),
    (r"xl/workbook\.xml", "fileSharing", ("userName",), "author", "patterns"),
    (r"xl/styles\.xml", "cellStyle", ("name",), "cell style", "patterns"),
    (r"xl/tables/.*\.xml", "table", ("name", "displayName", "comment"), "table of the spreadsheet", "name"),
    (r"xl/persons/.*\.xml", "person", ("displayName", "userId"), "author", "patterns"),
    (r"xl/worksheets/.*\.xml", "protectedRange", ("name",), "protected area", "name"),
    (r"xl/worksheets/.*\.xml", "scenario", ("name", "comment"), "scenario", "name"),
    (r"xl/worksheets/.*\.xml", "scenario", ("user",), "author", "patterns"),
    (r"xl/worksheets/.*\.xml", "inputCells", ("val",), "scenario", "name"),
    (r"xl/worksheets/.*\.xml", "hyperlink", ("tooltip", "display"), "link", "name"),
    (r"xl/worksheets/.*\.xml", "hyperlink", ("location",), "link", "patterns"),
    (r"xl/worksheets/.*\.xml", "cfRule", ("text",), "conditional format", "name"),
]  # fmt: skip
ELEMENTS: list[tuple[str, str, str, Judged]] = [  # part, element, how the place is called, how its text is judged
    (r"docProps/app\.xml", "Manager", "property manager", "name"),
    (r"docProps/app\.xml", "Company|HyperlinkBase|Template", "property company", "patterns"),  # written by programs, like authors
    (r"xl/comments.*\.xml", "author", "author", "patterns"),
]  # fmt: skip
FORMULAS = re.compile(r"<(?:\w+:)?(formula|f)(?:\s[^>]*)?>([^<]+)<", re.DOTALL)
FORMULA_PLACES = {"formula": "conditional format", "f": "rule of a sheet"}


def has_unsearchable(archive: zipfile.ZipFile, n_sheets: int) -> bool:
    """Whether a workbook with `n_sheets` readable sheets holds a part that cannot be searched: a picture, a chart, a file, a lost sheet."""
    names = archive.namelist()
    drawn = (archive.read(name) for name in names if DRAWING.match(name))
    return (
        not all(SEARCHABLE.fullmatch(name) for name in names)
        or any(b"wsDr" not in drawing or b"nchor" in drawing for drawing in drawn)
        or sum(bool(SHEET.match(name)) for name in names) != n_sheets
    )


def list_part_texts(archive: zipfile.ZipFile, known: set[str]) -> Iterator[Loose]:
    """All texts outside of cells that only the parts show. `known` are plain texts of cells and comments that are judged where they stand."""
    for name in archive.namelist():
        if name.endswith((".xml", ".rels", ".vml")):
            content = archive.read(name).decode("utf-8-sig", "replace")
            yield from list_attributes(name, content)
            yield from list_elements(name, content)
            yield from list_by_kind(name, content, known)


def list_attributes(name: str, content: str) -> Iterator[Loose]:
    """Texts that stand in attributes."""
    for part, element, attributes, place, judged in ATTRIBUTES:
        if re.fullmatch(part, name):
            for tag in find_tags(element, content):
                for attribute in attributes:
                    if text := read_attribute(tag, attribute):
                        builtin = element == "cellStyle" and "builtinId" in tag
                        yield from [] if builtin else [Loose(text, "workbook", place, judged)]


def list_elements(name: str, content: str) -> Iterator[Loose]:
    """Texts that stand between tags."""
    for part, element, place, judged in ELEMENTS:
        if re.fullmatch(part, name):
            for text in find_texts(element, content):
                yield Loose(text, "workbook", place, judged)


def list_by_kind(name: str, content: str, known: set[str]) -> Iterator[Loose]:
    """Texts of those parts that have a form of their own."""
    if name.endswith(".rels"):
        external = [
            tag for tag in find_tags("Relationship", content) if read_attribute(tag, "TargetMode") == "External"
        ]
        yield from (Loose(read_attribute(tag, "Target") or "", "workbook", "link", "name") for tag in external)
    elif name.startswith("customXml/"):
        judged = "patterns" if OF_PROGRAMS.search(content) else "name"
        texts = [t for t in TAG.split(content) if t.strip()]
        texts += (
            []
            if judged == "patterns"
            else re.findall(r'\s(?!xmlns)[\w:]+="([^"]+)"', re.sub(r"<\?[^>]*>", "", content))
        )
        yield from (Loose(html.unescape(text), "workbook", "custom part", judged) for text in texts)
    elif name == "xl/styles.xml":
        for tag in find_tags("numFmt", content):
            for text in re.findall(r'"([^"]*)"', read_attribute(tag, "formatCode") or ""):
                yield Loose(text, "workbook", "number format", "name")
    elif name == "xl/sharedStrings.xml":
        yield from list_left_strings(content, known)
        yield from list_readings(content)
    elif name.endswith(".vml"):
        yield from (
            Loose(html.unescape(text), "workbook", "text box", "name") for text in TAG.split(content) if text.strip()
        )
    elif re.fullmatch(r"xl/(?:comments/)?comments?\d*\.xml", name):
        for text in map(join_runs, re.findall(r"<(?:\w+:)?comment\s.*?</(?:\w+:)?comment>", content, re.DOTALL)):
            yield from [] if plain(text) in known else [Loose(text, "workbook", "comment", "remark")]
    elif SHEET.match(name):
        yield from list_readings(content)
        rules = content[content.rfind("sheetData") :]
        for element, formula in FORMULAS.findall(rules):
            texts = re.findall(r'"([^"]*)"', html.unescape(formula))
            yield from (Loose(text, "workbook", FORMULA_PLACES[element], "name") for text in texts)


def list_left_strings(content: str, known: set[str]) -> Iterator[Loose]:
    """Shared texts that no cell shows any more."""
    for text in find_texts("si", content):
        shown = join_runs(READING.sub("", text))
        if shown and plain(shown) not in known:
            yield Loose(shown, "workbook", UNSEEN, "name")


def list_readings(content: str) -> Iterator[Loose]:
    """Readings that were added to a text, as in Japanese: no cell shows them."""
    for text in map(join_runs, (match[0] for match in READING.finditer(content)) if "rPh" in content else ()):
        yield Loose(text, "workbook", UNSEEN, "name")


def list_entries(formula: str) -> list[str]:
    """The entries of a list of what may be entered, each by itself."""
    return [entry for text in re.findall(r'"([^"]*)"', formula) for entry in re.split(r"[,;]", text) if entry.strip()]


def find_tags(element: str, content: str) -> list[str]:
    """The opening tags of an element, whatever its prefix."""
    return re.findall(rf"<(?:\w+:)?(?:{element})\s(?:[^>\"']|\"[^\"]*\"|'[^']*')*", content)


def read_attribute(tag: str, attribute: str) -> str | None:
    """The value of an attribute of a tag."""
    found = re.search(rf"""\s{attribute}=(?:"([^"]*)"|'([^']*)')""", tag)
    return html.unescape(found[1] or found[2] or "") if found else None


def find_texts(element: str, content: str) -> list[str]:
    """What stands between the tags of an element."""
    found = re.findall(rf"<(?:\w+:)?({element})(?:\s[^>]*)?>(.*?)</(?:\w+:)?\1>", content, re.DOTALL)
    return [text if element == "si" else html.unescape(TAG.sub("", text)) for _, text in found]


def join_runs(content: str) -> str:
    """The text of an element that is written in runs."""
    return html.unescape("".join(re.findall(r"<(?:\w+:)?t(?:\s[^>]*)?>([^<]*)<", content)))


def strip_page_codes(text: str) -> str:
    """What a person wrote into a page header or footer: without page numbers, fonts and the words around them."""
    return PAGE_WORDS.sub(" ", PAGE_CODE.sub(" ", text))
