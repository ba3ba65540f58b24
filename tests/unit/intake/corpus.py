"""Invented identifiers in the forms of several languages, and every place of a workbook or a .csv
file where one can stand.

Names, addresses and numbers are made to belong to nobody: names of RFC 2606 and the words for
`example` in other languages, addresses of RFC 5737 and RFC 3849, numbers that Ofcom, the North
American numbering plan, Arcep and the Bundesnetzagentur keep for films (from memory), zeros
elsewhere, names made up here.
"""

import itertools
import json
import re
import zipfile
from pathlib import Path

import numpy as np
from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.formatting.rule import FormulaRule
from openpyxl.packaging.custom import StringProperty
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.hyperlink import Hyperlink

from pipeline.intake.patterns import DICTIONARY_WORDS
from schemas.delivery import TABLES
from tests.unit.intake.conftest import build_book, current_tables, to_grids

DATES = (
    "14 March 2024|March 14th, 2024|3/14/24|2024-03-14|14. März 2024|14.03.24|3. Dez. 2023|14 août "
    "2023|1er mars 2024|14 de marzo de 2024|3 de enero|14 marzo 2024|1º gennaio 2024|14 maart "
    "2024|3 mrt 2024|14 de março de 2024|2 de fevereiro|14 marca 2024|3 września 2023|5 paź "
    "2023|14.III.2024|14 03 2024|2024/3/14|20240314|14-Mar-24|Mar 2024|2024-W11|12/2023|14-03-2024 "
    "10:30|lundi 4 mai 2024|21 czerwca|30 de setembro"
)
TELEPHONES = (
    "+44 20 7946 0958|020 7946 0958|(202) 555-0143|202.555.0143|0049 30 23125 678|030 / "
    "23125-678|(030) 23125 001|01 99 00 12 34|+33 1 99 00 12 34|+34 900 000 000|06 0000 0000|+39 "
    "06 0000 0000|020-000 0000|06-00000000|+31 20 000 0000|+351 21 000 0000|210 000 000|+48 00 000 "
    "00 00|(22) 000 00 00|tel. 555-0143"
)
EMAILS = (
    "a.person@example.org|max.muster@beispiel.example|une.personne@exemple.example|"
    "una.persona@ejemplo.example|persona@esempio.example|iemand@voorbeeld.example|"
    "alguem@exemplo.example|osoba@przyklad.example|a.person (at) "
    "example.org|a.person[at]example.org|a person at example dot org|a.person＠example.org"
)
WEB = (
    "https://example.org/p/17|www.example.org|example.net/p?id=17|ftp://example.org/17|records.example.com|beispiel.de|exemple.fr|ejemplo.es|esempio.it"
    "|voorbeeld.nl|exemplo.pt|przyklad.pl"
)
ADDRESSES = (
    "192.0.2.17|198.51.100.200|203.0.113.5:8080|192.0.2.0/24|2001:db8::17|2001:db8:0:0:0:0:0:17|"
    "from 192.0.2.17"
)
POSTCODES = (
    "SW1A 1AA|M1 1AE|k1a 0b1|90210|90210-1234|10115 Berlin|D-10115|CH-8001|1010 Wien|8001 "
    "Zürich|75001 Paris|75116|28001 Madrid|00184 Roma|1012 AB|1012 AB Amsterdam|1000-001|1000-001 "
    "Lisboa|00-950|00-950 Warszawa|30-060 Kraków"
)
NUMBERS = (
    "4471992|MRN4471992|MRN 447 1992|943 476 5919|987-65-4320|1 85 05 78 006 084 36|65 170839 J "
    "003|12345678Z|RSSMRA85T10A562S|111222333|44051401359|QQ 12 34 56 C|AB 12 34 56 C|DE89 3704 "
    "0044 0532 0130 00|4111 1111 1111 1111|no 123456|001234"
)
NAMES = (
    "Zacharias Quillfeather|Quillfeather, Zacharias|Z. Quillfeather|Mr Quillfeather|patient "
    "Quillfeather|Dr. med. Ernst Beispielmann|Frau Beispielmann|Herr Mustermann|Mme Jeanne "
    "Exempleau|M. Exempleau Jean|Sra. Ejemploza|Juana Ejemploza Pérez|Sig. Esempioni|Mario "
    "Esempioni|Jan van Voorbeeldt|mevr. Voorbeeldt|João Exemploso|Dona Exemplosa|Zofia "
    "Przykładowska|pani Przykładowska|QUILLFEATHER ZACHARIAS|田中 太郎|Пример Примеров|name: "
    "Quillfeather|seen by Quillfeather|fell off her bicycle"
)
KINDS = {
    "calendar_date": DATES,
    "telephone_number": TELEPHONES,
    "email_address": EMAILS,
    "web_address": WEB,
    "ip_address": ADDRESSES,
    "postcode": POSTCODES,
    "long_number": NUMBERS,
    "free_text": NAMES,
}
OTHERWISE_TOO = (  # other things are written so as well: they refuse nothing, and are kept nowhere
    "90210|1010 Wien|8001 Zürich|75116|1012 AB|1012 AB Amsterdam|00-950|00-950 Warszawa|30-060 "
    "Kraków|no 123456|Zacharias Quillfeather|Quillfeather, Zacharias|Z. Quillfeather|patient "
    "Quillfeather|M. Exempleau Jean|Juana Ejemploza Pérez|Mario Esempioni|Jan van Voorbeeldt|João "
    "Exemploso|Zofia Przykładowska|QUILLFEATHER ZACHARIAS|田中 太郎|Пример Примеров|seen by "
    "Quillfeather|fell off her bicycle"
)
MAYBE = frozenset(OTHERWISE_TOO.split("|"))
VALUES = [(kind, text) for kind, texts in KINDS.items() for text in texts.split("|")]
SHAPES = [(kind, text) for kind, text in VALUES if kind != "free_text"]
# a name there refuses nothing
AUTHORS = ("author", "property creator", "property lastModifiedBy", "property company")
CELLS = [
    (table, column)
    for table, model in TABLES.items()
    for column in model.describe()
    if not column.endswith("_id")
]


def take_turns(seed: int, values: list) -> itertools.cycle:
    """The values again and again, in an order that the seed decides."""
    return itertools.cycle(
        [values[n] for n in np.random.default_rng(seed).permutation(len(values))]
    )


def choose_for_pseudonym(turns) -> tuple[str, str]:
    """The next text that is not itself formed as a pseudonym is: 90210 or CH-8001 may be one."""
    return next(value for value in turns if not re.fullmatch(r"[A-Z0-9-]{3,24}", value[1]))


def plant_cells(seed: int) -> tuple[dict, list[tuple]]:
    """Grids of a delivery with a planted text in a cell of every column but the pseudonyms',
    and places: table, row, column, kind, text."""
    grids, places, turns = to_grids(current_tables()), [], take_turns(seed, VALUES)
    for number, (table, column) in enumerate(CELLS):
        row = 1 + number % 2
        kind, text = next(turns)
        grids[table][row][grids[table][0].index(column)] = text
        places.append((table, row + 1, column, kind, text))
    return grids, places


def plant_more_cells(grids: dict, seed: int) -> list[tuple]:
    """A column and a table that nobody knows, cells under no header,
    a line of remark and a pseudonym, each with a planted text."""
    turns, places = take_turns(seed + 1, VALUES), []
    for table in TABLES:
        kind, text = next(turns)
        width = len(grids[table][0])
        grids[table][0].append("extra")
        grids[table][1] += [None] * (width - len(grids[table][1])) + [text]
        places.append((table, 2, "extra", kind, text))
        kind, text = next(turns)
        grids[table][2] += [None] * (width + 3 - len(grids[table][2])) + [text]
        places.append((table, 3, None, kind, text))
        kind, text = choose_for_pseudonym(turns)
        grids[table].append([f"# {text}"])
        places.append((table, len(grids[table]), "episode_id", kind, text))
    for text in ("MEIERLING", "P-20240314", "4471992", "RSSMRA85T10A562S", "Quillfeather Z"):
        row = [None] * len(grids["episodes"][0])
        row[1] = text
        grids["episodes"].append(row)
        places.append(("episodes", len(grids["episodes"]), "patient_id", None, text))
    return places


def plant_around_cells(book: Workbook, seed: int) -> list[tuple]:
    """Planted texts in every place that openpyxl can write besides cells; places as above,
    with no row where a place has none."""
    any_kind, shapes, places = take_turns(seed + 2, VALUES), take_turns(seed + 3, SHAPES), []
    entries = take_turns(
        seed + 6, [value for value in VALUES if "," not in value[1]]
    )  # a comma parts the entries of a list

    def put(turns, table, row, column) -> str:
        kind, text = next(turns)
        places.append((table, row, column, kind, text))
        return text

    for name in TABLES:
        sheet = book[name]
        sheet["A2"].comment = Comment(put(any_kind, name, 2, "comment in column A"), "site")
        sheet["B3"].hyperlink = Hyperlink(
            ref="B3", location="A1", tooltip=put(any_kind, "workbook", None, "link")
        )
        getattr(
            sheet, ("oddHeader", "evenFooter", "firstHeader", "oddFooter")[len(places) % 4]
        ).left.text = put(any_kind, name, None, "page header or footer")
        hint = DataValidation(
            type="list", formula1=f'"yes,{put(entries, name, None, "list of entries")}"'
        )
        hint.prompt = put(shapes, name, None, "hint on entry")
        hint.errorTitle = put(shapes, name, None, "hint on entry")[:30]
        hint.add("D2:D9")
        sheet.add_data_validation(hint)
        rule = FormulaRule(
            formula=[f'$A1="{put(any_kind, "workbook", None, "conditional format")}"']
        )
        sheet.conditional_formatting.add("C2:C9", rule)
        sheet["C4"].number_format = f'0 "{put(any_kind, "workbook", None, "number format")}"'
        hidden = sheet.max_row + 2
        kind, text = choose_for_pseudonym(any_kind)
        places.append((name, hidden, "episode_id", kind, text))
        sheet.cell(hidden, 1).value = text
        sheet.row_dimensions[hidden].hidden = True
        sheet.column_dimensions["A"].hidden = True
        sheet.cell(2, 4).value = f'=LEFT("{put(any_kind, name, 2, None)}", 2)'
    lists = book.create_sheet("lists")
    lists["A1"], lists["A2"], lists.sheet_state = (
        "list",
        put(any_kind, "lists", 2, "list"),
        "veryHidden",
    )
    for name in (
        "title",
        "subject",
        "description",
        "keywords",
        "category",
        "contentStatus",
        "identifier",
    ):
        setattr(book.properties, name, put(any_kind, "workbook", None, f"property {name}"))
    for name in ("creator", "lastModifiedBy"):
        setattr(book.properties, name, put(shapes, "workbook", None, f"property {name}"))
    book.custom_doc_props.append(
        StringProperty(name="source", value=put(any_kind, "workbook", None, "own property 1"))
    )
    text = put(any_kind, "workbook", None, "defined name 1")
    book.defined_names["source"] = DefinedName("source", attr_text=f'"{text}"')
    return places


def plant_in_parts(path: Path, seed: int) -> list[tuple]:
    """Planted texts in parts of the archive that openpyxl does not write."""
    any_kind, shapes = take_turns(seed + 4, VALUES), take_turns(seed + 5, SHAPES)
    manager, item, attribute, left, reading, box = (next(any_kind) for _ in range(6))
    left = (left[0], f"{left[1]} {seed}")  # or else a cell may show the same text
    company, base, person = (next(shapes) for _ in range(3))
    with zipfile.ZipFile(path) as archive:
        contents = {name: archive.read(name) for name in archive.namelist()}
    app = (
        f"<Manager>{manager[1]}</Manager><Company>{company[1]}</Company>"
        f"<HyperlinkBase>{base[1]}</HyperlinkBase></Properties>"
    )
    strings = (
        f"<si><t>{left[1]}</t></si><si><t>yes</t><rPh sb='0' "
        f"eb='1'><t>{reading[1]}</t></rPh></si></sst>"
    )
    for name, end, text in (
        ("docProps/app.xml", b"</Properties>", app),
        ("xl/sharedStrings.xml", b"</sst>", strings),
    ):
        contents[name] = contents.get(name, b"<sst></sst>").replace(end, text.encode())
    contents["customXml/item1.xml"] = (
        f'<records><person code="{attribute[1]}">{item[1]}</person></records>'.encode()
    )
    contents["xl/persons/person.xml"] = (
        f'<personList><person displayName="{person[1]}" id="1"/></personList>'.encode()
    )
    contents["xl/drawings/vmlDrawing9.vml"] = (
        f"<xml><v:textbox><div>{box[1]}</div></v:textbox></xml>".encode()
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in contents.items():
            archive.writestr(name, content)
    places = [
        ("property manager", manager),
        ("property company", company),
        ("property company", base),
        ("author", person),
    ]
    places += [("custom part", item), ("custom part", attribute), ("text box", box)]
    places += [("text that no cell shows", left), ("text that no cell shows", reading)]
    return [("workbook", None, place, kind, text) for place, (kind, text) in places]


def write_planted_book(folder: Path, seed: int) -> list[tuple]:
    """A workbook with a planted text in every place; returns the places."""
    grids, places = plant_cells(seed)
    places += plant_more_cells(grids, seed)
    book = build_book(grids)
    for cell in (
        cell for sheet in book for row in sheet for cell in row if str(cell.value).startswith("=")
    ):
        cell.data_type = "s"
    places += plant_around_cells(book, seed)
    places = [
        place
        for place in places
        if place[:3] not in {(name, 2, column) for name, column in OVERWRITTEN}
    ]
    folder.mkdir(parents=True)
    book.save(folder / "S01_001.xlsx")
    return places + plant_in_parts(folder / "S01_001.xlsx", seed)


OVERWRITTEN = [(name, list(TABLES[name].describe())[3]) for name in TABLES]  # by a formula


def telling(text: str) -> set[str]:
    """The parts of a planted text by which it would be known again, as bytes would show them."""
    parts = {part.strip(".,:()[]") for part in text.lower().split()}
    return {
        form
        for part in parts - DICTIONARY_WORDS - {"person"}  # the gate's own sentences have it
        if len(part) > 4
        for form in (part, json.dumps(part)[1:-1])
    }
