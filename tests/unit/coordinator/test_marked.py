"""The marked copy: what is to mend is marked where it is, all else stays,
and the mended copy can be handed in as it is."""

import shutil
import subprocess
import zipfile

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment
from openpyxl.styles import PatternFill
from openpyxl.worksheet.datavalidation import DataValidation

from pipeline.coordinator.check import choose_target
from pipeline.coordinator.marked import ALWAYS, mark_delivery
from pipeline.intake.read import read_delivery
from pipeline.intake.receive import receive_delivery
from tests.unit.intake.conftest import build_book, plain_tables, to_grids, write_book, write_csv


@pytest.fixture
def folder(tmp_path):
    """Where delivery 001 of site S01 is handed in."""
    return tmp_path / "S01" / "001"


def build_faulty() -> Workbook:
    """Two misspelt codes below each other, a number that is none, a column nobody knows,
    and things of the site's own."""
    tables = plain_tables()
    tables["examinations"][0]["test"] = tables["examinations"][1]["test"] = "dix_halpike"
    tables["followups"][2]["dhi_total"] = "twelve"
    book = build_book(to_grids(tables))
    sheet = book["episodes"]
    sheet.insert_rows(1)
    sheet.column_dimensions["C"].width = 33
    sheet.row_dimensions[4].hidden = True
    sheet.freeze_panes = "B3"
    sheet["C3"].fill = PatternFill("solid", fgColor="00FF00")
    rule = DataValidation(type="list", formula1='"female,male"')
    rule.add("D3:D9")
    sheet.add_data_validation(rule)
    return book


def mark(folder, plan):
    received = receive_delivery(folder, plan)
    return received, mark_delivery(folder, read_delivery(folder), received)


def open_bytes(content: bytes, path):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return load_workbook(path)


def list_marked(sheet) -> set[str]:
    """The cells that our formats colour."""
    return {
        cell.coordinate
        for area in sheet.conditional_formatting
        if any(rule.formula == [ALWAYS] for rule in area.rules)
        for part in area.sqref.ranges
        for row in sheet[part.coord if ":" in part.coord else f"{part.coord}:{part.coord}"]
        for cell in row
    }


def test_each_cell_to_mend_is_marked_and_listed_and_the_rest_is_as_it_was(folder, plan, tmp_path):
    write_book(folder, build_faulty())
    _, content = mark(folder, plan)
    book, before = open_bytes(content, tmp_path / "marked.xlsx"), build_faulty()
    assert book.sheetnames[1:] == before.sheetnames
    assert list_marked(book["examinations"]) == {"E2", "E3"}
    assert list_marked(book["followups"]) == {"F4"}
    assert list_marked(book["episodes"]) == set()
    assert "Did you mean dix_hallpike?" in book["examinations"]["E2"].comment.text
    links = {
        cell.hyperlink.location for row in book.worksheets[0] for cell in row if cell.hyperlink
    }
    assert links == {"'examinations'!E2", "'examinations'!E3", "'followups'!F4"}
    for sheet in before.worksheets:
        same = {cell.coordinate: cell.value for row in sheet for cell in row}
        assert {
            cell.coordinate: cell.value
            for row in book[sheet.title]
            for cell in row
            if cell.coordinate in same
        } == same
    episodes = book["episodes"]
    assert episodes.column_dimensions["C"].width == 33
    assert episodes.row_dimensions[4].hidden
    assert episodes.freeze_panes == "B3"
    assert episodes["C3"].fill.fgColor.rgb == "0000FF00"
    assert [rule.formula1 for rule in episodes.data_validations.dataValidation] == ['"female,male"']
    assert mark(folder, plan)[1] == content  # the same bytes each time


def test_forty_problems_of_a_kind_are_one_line_that_leads_to_the_first(folder, plan, tmp_path):
    book = build_faulty()
    contacts = book["followups"]
    for day in range(100, 140):
        contacts.append([cell.value if cell.column != 2 else day for cell in contacts[4]])
    write_book(folder, book)
    listed = open_bytes(mark(folder, plan)[1], tmp_path / "marked.xlsx").worksheets[0]
    rows = range(listed.max_row, 0, -1)
    shown = [
        row for row in rows if listed.cell(row, 2).value and not listed.row_dimensions[row].hidden
    ]
    line = next(row for row in shown if str(listed.cell(row, 1).value).startswith("followups"))
    assert listed.cell(line, 1).value.endswith("41 rows, first at followups, F4")
    assert listed.cell(line, 1).hyperlink.location == "'followups'!F4"
    places = range(line + 1, line + 42)
    assert all(
        listed.row_dimensions[row].hidden and listed.row_dimensions[row].outlineLevel == 1
        for row in places
    )
    assert all(listed.cell(row, 1).hyperlink for row in places)


def test_the_mended_copy_is_accepted_with_all_marks_in_it(folder, plan, tmp_path):
    write_book(folder, build_faulty())
    book = open_bytes(mark(folder, plan)[1], tmp_path / "marked.xlsx")
    assert not receive_with(book, tmp_path / "a", plan).tables["set_aside"].empty
    book["examinations"]["E2"] = book["examinations"]["E3"] = "dix_hallpike"
    book["followups"]["F4"] = 12
    received = receive_with(book, tmp_path / "b", plan)
    assert received.accepted
    assert received.tables["set_aside"].empty
    # of the row above the header
    assert received.tables["problems"]["rule"].eq("read_with_help").all()


def receive_with(book, folder, plan):
    return receive_delivery(write_book(folder / "S01" / "001", book), plan)


def test_marking_again_replaces_the_old_marks(folder, plan, tmp_path):
    write_book(folder, build_faulty())
    book = open_bytes(mark(folder, plan)[1], tmp_path / "marked.xlsx")
    book["examinations"]["E2"] = "dix_hallpike"
    again = write_book(tmp_path / "S01" / "002", book)
    book["submission"]["B3"] = "002"
    book.save(next(again.iterdir()))
    marked = open_bytes(mark(again, plan)[1], tmp_path / "again.xlsx")
    assert marked.sheetnames == book.sheetnames
    assert list_marked(marked["examinations"]) == {"E3"}
    assert marked["examinations"]["E2"].comment is None


def test_an_identifier_is_marked_and_not_repeated(folder, plan, tmp_path):
    book = build_faulty()
    book["followups"]["J3"] = "Zacharias Quillfeather, 2024-03-01"
    book["treatments"]["C2"].comment = Comment("ask Quillfeather", "somebody")
    write_book(folder, book)
    received, content = mark(folder, plan)
    assert not received.accepted
    marked = open_bytes(content, tmp_path / "marked.xlsx")
    assert "J3" in list_marked(marked["followups"])
    assert "C2" in list_marked(marked["treatments"])
    assert marked["treatments"]["C2"].comment.text == "ask Quillfeather"
    texts = [str(cell.value) for row in marked.worksheets[0] for cell in row] + [
        marked["followups"]["J3"].comment.text
    ]
    assert "illfeather" not in " ".join(texts)


def test_text_files_become_a_workbook_without_any_formula(folder, plan, tmp_path):
    tables = plain_tables()
    tables["examinations"][1]["vertigo"] = "=1+1"
    tables["episodes"][0]["sex"] = "femal"
    write_csv(folder, to_grids(tables))
    _, content = mark(folder, plan)
    book = open_bytes(content, tmp_path / "marked.xlsx")
    assert book.sheetnames[1:] == [
        "episodes",
        "examinations",
        "followups",
        "submission",
        "treatments",
    ]
    assert "D2" in list_marked(book["episodes"])
    vertigo = to_grids(tables)["examinations"][0].index("vertigo") + 1
    assert (
        book["examinations"].cell(3, vertigo).value,
        book["examinations"].cell(3, vertigo).data_type,
    ) == (
        "=1+1",
        "s",
    )
    with zipfile.ZipFile(tmp_path / "marked.xlsx") as archive:
        assert not any(
            b"<f>" in archive.read(name)
            for name in archive.namelist()
            if "worksheets/sheet" in name
        )


def test_what_cannot_be_opened_and_what_is_fine_get_no_copy(folder, plan, tmp_path):
    write_csv(folder, to_grids(plain_tables()))
    assert mark(folder, plan)[1] is None
    other = tmp_path / "S01" / "002"
    other.mkdir()
    (other / "all.xlsx").write_bytes(b"")
    assert mark(other, plan)[1] is None


def test_a_column_that_is_missing_leads_to_its_sheet(folder, plan, tmp_path):
    book = build_faulty()
    book["episodes"].delete_cols(1)
    write_book(folder, book)
    marked = open_bytes(mark(folder, plan)[1], tmp_path / "marked.xlsx")
    links = [
        cell.hyperlink.location for row in marked.worksheets[0] for cell in row if cell.hyperlink
    ]
    assert "'episodes'!A1" in links


@pytest.mark.skipif(not shutil.which("soffice"), reason="LibreOffice is not installed")
def test_it_is_accepted_too_when_another_program_saved_it(folder, plan, tmp_path):
    write_book(folder, build_faulty())
    book = open_bytes(mark(folder, plan)[1], tmp_path / "marked.xlsx")
    book["examinations"]["E2"] = book["examinations"]["E3"] = "dix_hallpike"
    book["followups"]["F4"] = 12
    book.save(tmp_path / "marked.xlsx")
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    other = tmp_path / "other" / "S01" / "001"
    command = [
        "soffice",
        "--headless",
        profile,
        "--convert-to",
        "xlsx",
        "--outdir",
        str(other),
        str(tmp_path / "marked.xlsx"),
    ]
    subprocess.run(command, check=True, capture_output=True)
    received = receive_delivery(other, plan)
    assert received.accepted
    assert received.tables["set_aside"].empty


def test_cells_right_of_a_table_are_marked_by_their_row(folder, plan, tmp_path):
    book = build_book(to_grids(plain_tables()))
    book["followups"].cell(3, 30).value = 7
    write_book(folder, book)
    received, content = mark(folder, plan)
    assert "too_many_cells" in set(received.tables["problems"]["rule"])
    assert "A3" in list_marked(open_bytes(content, tmp_path / "marked.xlsx")["followups"])


def test_the_copy_never_goes_into_a_delivery(tmp_path):
    delivery = tmp_path / "S01" / "001"
    for named in (delivery / "S01_001.xlsx", delivery, delivery.parent):
        assert choose_target(named, delivery, 1) == tmp_path / "S01" / "001_marked.xlsx"
    assert (
        choose_target(tmp_path / "mine.xlsx", tmp_path / "copied" / "S01" / "001", 1)
        == tmp_path / "mine_marked.xlsx"
    )
