"""The gate finds every kind of identifier in every kind of place,
finds nothing where there is none, and repeats nothing."""

import datetime
import logging
import zipfile
from collections.abc import Iterable

import pytest
from openpyxl.packaging.custom import StringProperty
from openpyxl.workbook.defined_name import DefinedName

from pipeline.intake.problem import phrase
from pipeline.intake.read import read_delivery
from pipeline.intake.receive import receive_delivery, search
from pipeline.intake.report import describe_intake, format_problems
from pipeline.reports.render import render_page
from schemas.delivery import TABLES
from schemas.rules import GATE_RULES, RULES
from schemas.site_map import SiteMap
from tests.unit.intake.conftest import (
    build_book,
    plain_tables,
    rules_of,
    to_grids,
    write_book,
    write_csv,
)
from tests.unit.intake.planting import (
    DATES_ALLOWED,
    MAY_BE_NAMES,
    NAMES_ALLOWED,
    PLACES,
    PLANTED,
    plant,
)

OWN = SiteMap()


def telling_parts(text: str) -> list[str]:
    """The parts of a planted text that no fingerprint holds by chance."""
    return [part for part in text.lower().split() if len(part) > 3]


def is_allowed(kind: str, place: str) -> bool:
    return (kind == "free_text" and place in NAMES_ALLOWED) or (
        kind == "calendar_date" and place in DATES_ALLOWED
    )


def take_turns(texts: Iterable[str], places: Iterable[str]) -> list:
    """Each place with a third of the texts, every text somewhere, and in the long suite each place
    with all of them: a text is judged in the same way wherever it stands."""
    few = [(place, list(texts)[n % 3 :: 3]) for n, place in enumerate(places)]
    everything = [pytest.param(place, list(texts), marks=pytest.mark.slow) for place in places]
    return [*few, *everything]


@pytest.mark.parametrize(("place", "kinds"), take_turns(PLANTED, PLACES))
def test_every_kind_is_found_in_every_place_and_not_repeated(tmp_path, place, kinds):
    for kind in kinds:
        if is_allowed(kind, place):
            continue
        text = PLANTED[kind]
        handed = read_delivery(plant(tmp_path / kind, place, text))
        hits = search(handed, OWN)
        assert kind in {problem.rule for problem in hits} or (place == "pseudonym" and hits), (
            f"{kind} was not found"
        )
        messages = repr([*hits, *handed.problems]).lower()
        assert not any(part in messages for part in telling_parts(text)), f"{kind} is repeated"


def list_outputs(received, caplog, capfd, recwarn) -> list[str]:
    """Everything that receiving a delivery leaves behind, as text."""
    page = render_page("intake.html.j2", describe_intake(received))
    frames = [rows.to_csv() for rows in received.tables.values()]
    streams = [caplog.text, *capfd.readouterr(), *(str(warning.message) for warning in recwarn)]
    return [page, format_problems(received), repr(received), *frames, *streams]


@pytest.mark.parametrize("number", range(len(PLACES)))
def test_no_planted_value_leaves_by_any_way(tmp_path, plan, caplog, capfd, recwarn, number):
    place = list(PLACES)[number]
    kinds = [kind for kind in PLANTED if not is_allowed(kind, place)]
    text = PLANTED[kinds[number % len(kinds)]]
    with caplog.at_level(logging.DEBUG):
        received = receive_delivery(plant(tmp_path / "S01" / "001", place, text), plan)
    assert not received.accepted
    assert all(received.tables[name].empty for name in TABLES)
    for out in list_outputs(received, caplog, capfd, recwarn):
        assert not any(part in out.lower() for part in telling_parts(text))


QUIET = [place for place in PLACES if "comment" not in place]


@pytest.mark.parametrize(("place", "texts"), take_turns(MAY_BE_NAMES, QUIET))
def test_what_may_be_a_name_is_no_hit(tmp_path, place, texts):
    for number, text in enumerate(texts):
        handed = read_delivery(plant(tmp_path / str(number), place, text))
        problems = [*search(handed, OWN), *handed.problems]
        refused = {problem.rule for problem in problems if problem.severity == "refuse"}
        assert refused <= {"formula_without_result"}, (text, refused)
        assert "quillfeather" not in repr(problems).lower(), text


@pytest.mark.parametrize("number", range(len(QUIET)))
def test_what_may_be_a_name_refuses_nothing_and_is_kept_nowhere(
    tmp_path, plan, caplog, capfd, recwarn, number
):
    text = MAY_BE_NAMES[number % len(MAY_BE_NAMES)]
    with caplog.at_level(logging.DEBUG):
        received = receive_delivery(plant(tmp_path / "S01" / "001", QUIET[number], text), plan)
    rules = rules_of(received, "refuse") - {"formula_without_result", "submission_incomplete"}
    assert not rules, rules
    for out in list_outputs(received, caplog, capfd, recwarn):
        assert "quillfeather" not in out.lower()


def rewrite(path, part, change):
    """Change a part of the workbook in a folder, as its text."""
    book = path / "S01_001.xlsx"
    with zipfile.ZipFile(book) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    changed = change(parts[part].decode())
    assert changed != parts[part].decode()
    with zipfile.ZipFile(book, "w") as archive:
        for name, content in (parts | {part: changed.encode()}).items():
            archive.writestr(name, content)
    return path


BESIDE = {  # a place of a part that no cell shows, by the part and what is put where
    "application": ("docProps/app.xml", "<Application>Microsoft Excel", "<Application>{}"),
    "version of the application": (
        "docProps/app.xml",
        "<Application>",
        "<AppVersion>{}</AppVersion><Application>",
    ),
    "time of saving": (
        "docProps/core.xml",
        "</cp:coreProperties>",
        "<cp:lastPrinted>{}</cp:lastPrinted></cp:coreProperties>",
    ),
    "beside a value": ("xl/worksheets/sheet2.xml", "</v></c>", "</v><is><t>{}</t></is></c>"),
    "between cells": ("xl/worksheets/sheet2.xml", "</v></c>", "</v></c>{}"),
    "attribute of a cell": ("xl/worksheets/sheet2.xml", '<c r="A2"', '<c note="{}" r="A2"'),
    "attribute of a row": ("xl/worksheets/sheet2.xml", '<row r="2"', '<row note="{}" r="2"'),
    "attribute of the cells": ("xl/worksheets/sheet2.xml", "<sheetData>", '<sheetData note="{}">'),
    "font": ("xl/styles.xml", '<name val="Calibri"', '<name val="{}"'),
    "number format": (
        "xl/styles.xml",
        "<fonts",
        "<numFmts><numFmt numFmtId='190' formatCode='{}'/></numFmts><fonts",
    ),
    "help on a name": (
        "xl/workbook.xml",
        "<definedNames",
        '<definedNames><definedName name="x" '
        'help="{}">episodes!$A$1</definedName></definedNames><definedNames',
    ),
}


@pytest.mark.parametrize(("place", "kinds"), take_turns(PLANTED, BESIDE))
def test_what_a_part_holds_beside_its_values_is_looked_at(folder, place, kinds):
    part, before, after = BESIDE[place]
    for kind in kinds:
        text = PLANTED[kind]
        path = write_book(folder / kind, build_book(to_grids(plain_tables())))
        rewrite(
            path,
            part,
            lambda content, planted=text: content.replace(before, after.replace("{}", planted), 1),
        )
        handed = read_delivery(path)
        hits = [*search(handed, OWN), *handed.problems]
        assert any(problem.severity == "refuse" for problem in hits), kind
        assert not any(part in repr(hits).lower() for part in telling_parts(text))


@pytest.mark.parametrize(
    ("part", "before", "after"),
    [
        (
            "docProps/app.xml",
            "<Application>Microsoft Excel",
            "<Application>LibreOffice/7.6.4.1$Linux_X86_64 "
            "LibreOffice_project/e19e193f88cd6c0525a17fb7a176ed8e6a3e2aa1",
        ),
        ("docProps/app.xml", "<Application>Microsoft Excel", "<Application>WPS Office 12.2.0.131"),
        (
            "docProps/app.xml",
            "<Application>",
            "<TotalTime>4821</TotalTime><AppVersion>16.0300</AppVersion><Application>",
        ),
        ("xl/styles.xml", '<name val="Calibri"', '<name val="ＭＳ Ｐゴシック"'),
        (
            "xl/styles.xml",
            "<fonts",
            '<numFmts><numFmt numFmtId="190" formatCode="[$-F800]dddd\\,\\ mmmm\\ dd\\,\\ '
            'yyyy"/><numFmt numFmtId="191" formatCode="_-* #,##0.00\\ '
            '[$€-407]_-;[Red]\\-0.00&quot; s&quot;"/></numFmts><fonts',
        ),
        ("xl/worksheets/sheet2.xml", "<sheetData>", "<sheetData>\n"),
        (
            "xl/worksheets/sheet2.xml",
            '<row r="2"',
            '<row r="2" spans="1:26" ht="15.75" x14ac:dyDescent="0.25" xmlns:x14ac="http://schemas.microsoft.com/office/spreadsheetml/2009/9/ac"',
        ),
    ],
)
def test_what_programs_write_beside_values_is_no_hit(folder, part, before, after):
    path = write_book(folder, build_book(to_grids(plain_tables())))
    rewrite(path, part, lambda content: content.replace(before, after, 1))
    assert search(read_delivery(path), OWN) == []


def test_clean_deliveries_pass(folder, plan):
    for path in (
        write_csv(folder / "csv", to_grids(plain_tables())),
        write_book(folder / "book", build_book(to_grids(plain_tables()))),
    ):
        assert search(read_delivery(path), OWN) == []


def test_what_programs_write_by_themselves_is_no_hit(folder, plan):
    book = build_book(to_grids(plain_tables()))
    sheet = book["episodes"]
    sheet.auto_filter.ref, sheet.print_area, sheet.print_title_rows = "A1:Z9", "A1:Z1048576", "1:1"
    sheet.oddFooter.center.text = "Page &P of &N"
    book.defined_names["codes"] = DefinedName("codes", attr_text="episodes!$A$1:$Z$1048576")
    for name in ("MSIP_Label_0_SetDate", "ContentTypeId"):
        book.custom_doc_props.append(
            StringProperty(name=name, value="2024-03-14T10:00:00Z 0x0101003344556677")
        )
    assert search(read_delivery(write_book(folder, book)), OWN) == []


def test_a_date_cell_is_found_and_its_text_is_not_kept(folder, plan):
    book = build_book(to_grids(plain_tables()))
    book["episodes"].cell(2, 6).value = datetime.datetime(1957, 3, 14)
    handed = read_delivery(write_book(folder, book))
    assert {(p.rule, p.row, p.column) for p in search(handed, OWN)} == {
        ("calendar_date", 2, "onset_day")
    }
    assert "1957" not in repr(handed)


def test_places_are_named_as_the_spreadsheet_shows_them(receive, tables):
    tables["episodes"][1] |= {"age_years": 93, "visit": "14.03.2024"}
    received = receive(tables)
    refusals = received.tables["problems"].query("severity == 'refuse'")
    problems = refusals[["table", "row", "column", "rule"]].to_records(index=False).tolist()
    assert problems == [
        ("episodes", 3, "age_years", "age_above_89"),
        ("episodes", 3, "visit", "calendar_date"),
    ]
    assert received.tables["problems"][["value", "episode_id"]].isna().all(axis=None)


def test_a_header_that_identifies_is_named_by_its_letters(receive, tables):
    tables["followups"][0]["Zacharias Quillfeather, tel. 555-0143"] = "x"
    column = receive(tables).tables["problems"].query("rule == 'identifier_column'")["column"]
    assert column.tolist() == ["column J"]


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("4821KV", True),
        ("482139-B", True),
        ("17. ožujka", True),
        ("0.30000000000000004", False),
        ("yes", False),
    ],
)
def test_what_may_be_an_identifier_in_a_column_that_is_not_stored_is_asked(
    receive, tables, text, asked
):
    tables["episodes"][0]["visit_kind"] = text
    received = receive(tables)
    assert received.accepted
    messages = received.tables["problems"].query("rule == 'column_unknown'")["message"]
    assert [("In 1 of its cells" in message) for message in messages] == [asked]
    assert text == "yes" or text not in received.tables["problems"].to_csv()


def test_a_field_of_the_submission_table_can_hold_an_identifier_too(receive, tables):
    tables["submission"]["contact_name"] = "X"
    assert rules_of(receive(tables), "refuse") == {"identifier_column"}


@pytest.mark.parametrize(
    "part",
    [
        "xl/media/image1.png",
        "xl/drawings/drawing1.xml",
        "xl/pivotCache/pivotCacheRecords1.xml",
        "xl/embeddings/o.bin",
        "docProps/thumbnail.jpeg",
        "xl/revisions/revisionLog1.xml",
        "xl/worksheets/sheet99.xml",
        "more.xlsx",
        "xl/vbaProject.bin",
    ],
)
def test_what_is_no_cell_cannot_be_searched_and_is_refused(folder, plan, part):
    path = write_book(folder, build_book(to_grids(plain_tables())))
    with zipfile.ZipFile(path / "S01_001.xlsx", "a") as book:
        book.writestr(part, b"")
    assert rules_of(receive_delivery(path, plan)) == {"embedded_object"}


@pytest.mark.parametrize(
    ("anchor", "rules"), [("", set()), ("<xdr:twoCellAnchor/>", {"embedded_object"})]
)
def test_a_drawing_is_refused_unless_it_is_empty(folder, plan, anchor, rules):
    path = write_book(folder, build_book(to_grids(plain_tables())))
    with zipfile.ZipFile(path / "S01_001.xlsx", "a") as book:
        book.writestr("xl/drawings/drawing1.xml", f"<xdr:wsDr>{anchor}</xdr:wsDr>")
    assert rules_of(receive_delivery(path, plan)) == rules


def test_stray_files_are_refused_and_those_of_the_computer_skipped(folder, plan):
    write_csv(folder, to_grids(plain_tables()))
    (folder / ".DS_Store").write_bytes(b"\0")
    assert rules_of(receive_delivery(folder, plan)) == {"read_with_help"}
    (folder / "notes.txt").write_text("anything")
    (folder / "Zacharias Quillfeather.docx").write_text("anything")
    problems = receive_delivery(folder, plan).tables["problems"]
    assert problems.loc[problems["rule"] == "stray_file", "table"].tolist() == [
        "file 2",
        "notes.txt",
    ]
    assert "quill" not in problems.to_csv().lower()


def test_the_rules_of_the_gate_refuse_and_their_sentences_need_nothing_from_the_delivery():
    for name in GATE_RULES:
        assert RULES[name].severity == "refuse"
        assert phrase(RULES[name], None, None, "", "") == phrase(
            RULES[name], "episodes", "sex", "", ""
        )
