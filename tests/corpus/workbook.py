"""A workbook written part by part (ECMA-376, Office Open XML),
so that a case can put something into any of them."""

import io
import zipfile
from dataclasses import dataclass, field
from xml.sax.saxutils import quoteattr

from tests.corpus.sheet import HEAD, MAIN, OFFICE, Sheet, write_sheet

PACKAGE = "http://schemas.openxmlformats.org/package/2006"
BOOK_ORDER = [
    "fileVersion",
    "fileSharing",
    "workbookPr",
    "alternate",
    "workbookProtection",
    "bookViews",
    "sheets",
    "functionGroups",
    "externalReferences",
    "definedNames",
    "calcPr",
    "oleSize",
    "customWorkbookViews",
    "pivotCaches",
    "smartTagPr",
    "smartTagTypes",
    "webPublishing",
    "fileRecoveryPr",
    "webPublishObjects",
    "extLst",
]

NORMAL = '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles>'


@dataclass
class Book:
    """A workbook before it is written. `parts` are further parts, `types` their content types."""

    sheets: list[Sheet]
    inline: bool = False
    elements: dict[str, str] = field(
        default_factory=lambda: {"calcPr": '<calcPr calcId="191029"/>'}
    )
    parts: dict[str, bytes] = field(default_factory=dict)
    types: dict[str, str] = field(default_factory=dict)
    relations: list[tuple[str, str, str]] = field(default_factory=list)
    package_relations: list[tuple[str, str, str]] = field(default_factory=list)
    number_formats: list[str] = field(default_factory=list)
    strings: list[str] = field(default_factory=list)
    core: str = "<dcterms:created xsi:type='dcterms:W3CDTF'>2025-06-30T00:00:00Z</dcterms:created>"
    app: str = "<Application>Microsoft Excel</Application>"
    styles: dict[str, str] = field(default_factory=lambda: {"cellStyles": NORMAL})

    def sheet(self, name: str) -> Sheet:
        """The sheet of that name."""
        return next(sheet for sheet in self.sheets if sheet.name == name)

    def add_part(
        self,
        path: str,
        content: str | bytes,
        content_type: str,
        kind: str,
        owner: Sheet | str = "book",
    ) -> str:
        """Add a part, with a relation of that kind from the owner (a sheet, `book` or `package`);
        returns its id."""
        self.parts[path] = content.encode() if isinstance(content, str) else content
        self.types[path] = content_type
        kind = kind if ":" in kind else f"{OFFICE}/{kind}"
        relations = (
            {"book": self.relations, "package": self.package_relations}.get(owner)
            if isinstance(owner, str)
            else owner.relations
        )
        target = f"/{path}"
        relations.append((f"rIdX{len(relations)}", kind, target))
        return relations[-1][0]

    def make_parts(self) -> dict[str, bytes]:
        """Every part by its name in the archive, in the usual order."""
        strings = list(self.strings)
        parts: dict[str, str | bytes] = {}
        for number, sheet in enumerate(self.sheets, start=1):
            parts[f"xl/worksheets/sheet{number}.xml"] = write_sheet(
                sheet, None if self.inline else strings
            )
            if sheet.relations:
                parts[f"xl/worksheets/_rels/sheet{number}.xml.rels"] = _write_relations(
                    sheet.relations
                )
        fixed = [("rId0", f"{OFFICE}/styles", "/xl/styles.xml")]
        if not self.inline:
            fixed.append(("rIdS", f"{OFFICE}/sharedStrings", "/xl/sharedStrings.xml"))
            parts["xl/sharedStrings.xml"] = _write_strings(strings)
        fixed += [
            (f"rId{n}", f"{OFFICE}/worksheet", f"/xl/worksheets/sheet{n}.xml")
            for n in range(1, len(self.sheets) + 1)
        ]
        parts = {
            "[Content_Types].xml": self._write_types(),
            "_rels/.rels": _write_relations(
                [
                    ("rId1", f"{OFFICE}/officeDocument", "/xl/workbook.xml"),
                    (
                        "rId2",
                        f"{PACKAGE}/relationships/metadata/core-properties",
                        "/docProps/core.xml",
                    ),
                    ("rId3", f"{OFFICE}/extended-properties", "/docProps/app.xml"),
                    *self.package_relations,
                ]
            ),
            "xl/workbook.xml": self._write_book(),
            "xl/_rels/workbook.xml.rels": _write_relations([*fixed, *self.relations]),
            "xl/styles.xml": self._write_styles(),
            **parts,
            "docProps/core.xml": (
                f'{HEAD}<cp:coreProperties xmlns:cp="{PACKAGE}/metadata/core-properties" '
                'xmlns:dc="http://purl.org/dc/elements/1.1/" '
                'xmlns:dcterms="http://purl.org/dc/terms/" '
                f'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">{self.core}</cp:coreProperties>'
            ),
            "docProps/app.xml": f'{HEAD}<Properties xmlns="http://schemas.openxmlformats.org/officeDocument/2006/'
            'extended-properties" '
            f'xmlns:vt="http://schemas.openxmlformats.org/officeDocument/2006/docPropsVTypes">{self.app}</Properties>',
            **self.parts,
        }
        return {
            name: part.encode() if isinstance(part, str) else part for name, part in parts.items()
        }

    def _write_book(self) -> str:
        sheets = "".join(
            f'<sheet name={quoteattr(sheet.name)} sheetId="{number}"'
            + (f' state="{sheet.state}"' if sheet.state != "visible" else "")
            + f' r:id="rId{number}"/>'
            for number, sheet in enumerate(self.sheets, start=1)
        )
        elements = {"sheets": f"<sheets>{sheets}</sheets>", **self.elements}
        body = "".join(elements.get(name, "") for name in BOOK_ORDER)
        return f'{HEAD}<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}">{body}</workbook>'

    def _write_types(self) -> str:
        base = "application/vnd.openxmlformats-officedocument.spreadsheetml"
        known = {
            "xl/workbook.xml": f"{base}.sheet.main+xml",
            "xl/styles.xml": f"{base}.styles+xml",
            "xl/sharedStrings.xml": f"{base}.sharedStrings+xml",
            **{
                f"xl/worksheets/sheet{n}.xml": f"{base}.worksheet+xml"
                for n in range(1, len(self.sheets) + 1)
            },
            "docProps/core.xml": "application/vnd.openxmlformats-package.core-properties+xml",
            "docProps/app.xml": (
                "application/vnd.openxmlformats-officedocument.extended-properties+xml"
            ),
            **self.types,
        }
        if self.inline:
            del known["xl/sharedStrings.xml"]
        overrides = "".join(
            f'<Override PartName={quoteattr("/" + name)} ContentType="{kind}"/>'
            for name, kind in known.items()
        )
        return (
            f'{HEAD}<Types xmlns="{PACKAGE}/content-types"><Default Extension="rels" '
            'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default '
            'Extension="xml" ContentType="application/xml"/><Default Extension="vml" '
            'ContentType="application/vnd.openxmlformats-officedocument.vmlDrawing"/><Default '
            f'Extension="bin" ContentType="{base}.printerSettings"/><Default Extension="jpeg" '
            f'ContentType="image/jpeg"/>{overrides}</Types>'
        )

    def _write_styles(self) -> str:
        number_formats = "".join(
            f'<numFmt numFmtId="{170 + n}" formatCode={quoteattr(code)}/>'
            for n, code in enumerate(self.number_formats)
        )
        xfs = "".join(
            (
                f'<xf numFmtId="{170 + n}" fontId="0" fillId="0" borderId="0" xfId="0" '
                'applyNumberFormat="1"/>'
            )
            for n in range(len(self.number_formats))
        )
        formats = (
            f'<numFmts count="{len(self.number_formats)}">{number_formats}</numFmts>'
            if number_formats
            else ""
        )
        return (
            (
                f'{HEAD}<styleSheet xmlns="{MAIN}">{formats}<fonts count="2"><font><sz '
                'val="11"/><name val="Calibri"/></font><font><b/><sz val="11"/><name '
                'val="Calibri"/></font></fonts><fills count="1"><fill><patternFill '
                'patternType="none"/></fill></fills><borders '
                'count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs '
                f'count="{3 + len(self.number_formats)}"><xf numFmtId="0" xfId="0"/><xf '
                'numFmtId="14" xfId="0" applyNumberFormat="1"/><xf numFmtId="0" fontId="1" '
                f'xfId="0"/>{xfs}</cellXfs>{self.styles.get("cellStyles", "")}'
            )
            + "".join(self.styles.get(name, "") for name in ("dxfs", "tableStyles", "extLst"))
            + "</styleSheet>"
        )


def _write_relations(relations: list[tuple[str, str, str]]) -> str:
    each = "".join(
        f'<Relationship Id="{name}" Type="{kind}" Target={quoteattr(target)}'
        + ("" if target.startswith("/") else ' TargetMode="External"')
        + "/>"
        for name, kind, target in relations
    )
    return f'{HEAD}<Relationships xmlns="{PACKAGE}/relationships">{each}</Relationships>'


def _write_strings(strings: list[str]) -> str:
    return (
        f'{HEAD}<sst xmlns="{MAIN}" count="{len(strings)}" '
        f'uniqueCount="{len(strings)}">{"".join(strings)}</sst>'
    )


def zip_parts(parts: dict[str, bytes], comment: bytes = b"") -> bytes:
    """The archive with these parts, the same bytes for the same parts."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(
                zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), part, zipfile.ZIP_DEFLATED
            )
        archive.comment = comment
    return buffer.getvalue()
