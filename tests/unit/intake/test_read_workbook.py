"""What people really send: read to the same rows as the plain delivery, with a note,
or refused with a sentence that says what to do."""

import shutil
import subprocess
import zipfile

import pandas as pd
import pytest

from pipeline.intake.receive import receive_delivery
from schemas.delivery import TABLES
from tests.unit.intake.conftest import (
    build_book,
    places_of,
    plain_tables,
    rules_of,
    to_grids,
    write_book,
    write_csv,
)

HEADER = {"episodes": 0, "examinations": 0, "treatments": 0, "followups": 0}
COMPOUND = bytes.fromhex("d0cf11e0a1b11ae1") + bytes(600)


def stored(received) -> dict[str, pd.DataFrame]:
    """The stored rows without what differs with the file: row numbers and the fingerprint."""
    return {name: received.tables[name].drop(columns=["source_sha256", "row"]) for name in TABLES}


def notes(received) -> set[str]:
    """What the site is told about how its delivery was read."""
    problems = received.tables["problems"]
    messages = problems.loc[problems["rule"].eq("read_with_help"), "message"]
    return set(
        messages.str.removeprefix("The file was read, but not as the dictionary describes it. ")
    )


@pytest.fixture(scope="module")
def plain(tmp_path_factory, plan):
    folder = tmp_path_factory.mktemp("plain") / "S01" / "001"
    return stored(receive_delivery(write_csv(folder, to_grids(plain_tables())), plan))


def change_headers(change):
    """The delivery with each header changed."""

    def make(folder):
        grids = to_grids(plain_tables())
        for name in HEADER:
            grids[name][0] = [change(header) for header in grids[name][0]]
        return write_csv(folder, grids)

    return make


def reorder(folder):
    grids = to_grids(plain_tables())
    return write_csv(folder, {name: [row[::-1] for row in grid] for name, grid in grids.items()})


def add_blanks(folder):
    grids = to_grids(plain_tables())
    for grid in grids.values():
        grid[:] = [
            [f"\u00a0{cell} " if isinstance(cell, str) else cell for cell in row] + [None, " "]
            for row in grid
        ]
        grid.append([])
    return write_csv(folder, grids)


def say_yes_otherwise(folder):
    tables = plain_tables()
    for treatment, word in zip(tables["treatments"], ("y", "1", "TRUE"), strict=True):
        treatment["completed"] = word
    for contact, word in zip(tables["followups"], ("N", "0", "false"), strict=True):
        contact["positional_symptoms"] = word
    return write_csv(folder, to_grids(tables))


def write_encoded(encoding, **dialect):
    def make(folder):
        for path in write_csv(folder, to_grids(plain_tables()), **dialect).iterdir():
            path.write_bytes(path.read_bytes().decode("utf-8").encode(encoding))
        return folder

    return make


def write_in_windows_signs(folder):
    grids = to_grids(plain_tables())
    grids["followups"][0].append("größe")
    for path in write_csv(folder, grids).iterdir():
        path.write_bytes(path.read_text("utf-8").encode("windows-1252"))
    return folder


def write_unicode_text(folder):
    """As "Unicode text" of a spreadsheet program: UTF-16, tabs, .txt."""
    write_encoded("utf-16", separator="\t", end="\r\n")(folder)
    for path in list(folder.iterdir()):
        path.rename(path.with_suffix(".txt"))
    return folder


def say_the_separator(folder):
    for path in write_csv(folder, to_grids(plain_tables()), separator=";").iterdir():
        path.write_text("sep=;\n" + path.read_text("utf-8"), "utf-8")
    return folder


def put_titles_above(folder):
    book = build_book(to_grids(plain_tables()))
    for name in HEADER:
        book[name].insert_rows(1, 3)
        book[name]["A1"] = name
        book[name]["C3"] = "examinations"
        book[name].merge_cells("C3:E3")
    return write_book(folder, book)


def put_titles_above_text(folder):
    grids = to_grids(plain_tables())
    return write_csv(folder, {name: [[name], [], *grid] for name, grid in grids.items()})


def merge_two_header_rows(folder):
    """The names of the first two columns span both header rows; the others stand in the lower one,
    under a group of columns."""
    book = build_book(to_grids(plain_tables()))
    for name in HEADER:
        sheet = book[name]
        sheet.insert_rows(1)
        for cell in ("A", "B"):
            sheet[f"{cell}1"] = sheet[f"{cell}2"].value
            sheet.merge_cells(f"{cell}1:{cell}2")
        sheet["C1"] = name
    return write_book(folder, book)


def hide(folder):
    book = build_book(to_grids(plain_tables()))
    book["episodes"].row_dimensions[3].hidden = True
    book["treatments"].column_dimensions["C"].hidden = True
    book["followups"].sheet_state = "hidden"
    return write_book(folder, book)


def write_numbers_as_texts(folder):
    grids = to_grids(plain_tables())
    for name in HEADER:
        grids[name] = [[None if cell is None else str(cell) for cell in row] for row in grids[name]]
    return write_book(folder, build_book(grids))


def call_sheets_otherwise(folder):
    book = build_book(to_grids(plain_tables()))
    book["followups"].title = "Follow-ups "
    return write_book(folder, book)


CAPITALS = "Column names are written with capitals."
OTHERWISE = "The header is spelled otherwise."
TITLES = "the rows above it are no part of the table."
READ = {
    "headers with blanks": (change_headers(lambda text: text.replace("_", " ")), {OTHERWISE}),
    "headers in one word": (
        change_headers(lambda text: text.title().replace("_", "")),
        {OTHERWISE, CAPITALS},
    ),
    "headers in capitals": (change_headers(str.upper), {CAPITALS}),
    "columns in another order": (reorder, set()),
    "blanks and empty columns": (add_blanks, set()),
    "yes and no": (say_yes_otherwise, {"Read as yes and no: y and n, true and false, 1 and 0."}),
    "tabs": (write_encoded("utf-8", separator="\t"), {"Its cells are separated by tabs."}),
    "semicolons and decimal commas": (
        write_encoded("utf-8", separator=";", decimal=","),
        {"Its cells are separated by semicolons.", "Decimal commas."},
    ),
    "utf-16": (write_encoded("utf-16"), {"It is written in UTF-16."}),
    "windows-1252": (
        write_in_windows_signs,
        {"It is not written in UTF-8 and was taken for Windows-1252."},
    ),
    "unicode text": (
        write_unicode_text,
        {
            "It is written in UTF-16.",
            "Its cells are separated by tabs.",
            "Its lines end as on Windows (CRLF).",
        },
    ),
    "a line that says the separator": (
        say_the_separator,
        {"Its cells are separated by semicolons."},
    ),
    "titles above": (put_titles_above, {f"Its header is row 4; {TITLES}"}),
    "titles above in text": (put_titles_above_text, {f"Its header is row 3; {TITLES}"}),
    "two header rows": (merge_two_header_rows, {f"Its header is row 2; {TITLES}"}),
    "hidden rows, columns and sheets": (
        hide,
        {
            "The sheet is hidden; it is read like all others.",
            "Hidden rows, as by a filter, are read like all others.",
            "Hidden columns are read like all others.",
        },
    ),
    "numbers as texts": (write_numbers_as_texts, set()),
    "names of sheets": (
        call_sheets_otherwise,
        {"The name of the table is spelled otherwise, or is read by the site's own list of names."},
    ),
}


@pytest.mark.parametrize("case", READ)
def test_it_is_read_to_the_same_rows_and_said(folder, plan, plain, case):
    make, expected = READ[case]
    received = receive_delivery(make(folder), plan)
    assert received.accepted, rules_of(received)
    assert notes(received) == expected
    for name, rows in stored(received).items():
        pd.testing.assert_frame_equal(rows, plain[name])


def name_a_column_nearly(folder):
    grids = to_grids(plain_tables())
    grids["treatments"][0] = [
        header.replace("maneuver", "manuever") for header in grids["treatments"][0]
    ]
    return write_csv(folder, grids)


def enter_a_day_as_date(folder):
    book = build_book(to_grids(plain_tables()))
    book["examinations"]["B2"] = pd.Timestamp("2024-04-03")
    return write_book(folder, book)


def put_a_name_above(folder):
    grids = to_grids(plain_tables())
    return write_csv(
        folder,
        grids | {"episodes": [["a.quillfeather@example.org, clinic list"], *grids["episodes"]]},
    )


def write_file(name, content):
    def make(folder):
        folder.mkdir(parents=True)
        (folder / name).write_bytes(content)
        return folder

    return make


def cut_off(folder):
    path = next(write_book(folder, build_book(to_grids(plain_tables()))).iterdir())
    path.write_bytes(path.read_bytes()[:5_000])
    return folder


def call_it_text(folder):
    path = next(write_book(folder, build_book(to_grids(plain_tables()))).iterdir())
    path.rename(folder / "episodes.csv")
    return folder


ENCRYPTED = COMPOUND + "EncryptedPackage".encode("utf-16-le")
REFUSED = {
    "a column named nearly": (name_a_column_nearly, "column_misspelt", "Did you mean maneuver?"),
    "a day that became a date": (
        enter_a_day_as_date,
        "calendar_date",
        "set the format of the cells to text",
    ),
    "somebody's address in a title": (put_a_name_above, "email_address", "Remove it"),
    "an old workbook": (write_file("all.xls", COMPOUND), "other_form", "save it as .xlsx"),
    "an OpenDocument file": (
        write_file("all.ods", b"PK\x03\x04"),
        "other_form",
        "save it as .xlsx",
    ),
    "an old workbook by a new name": (
        write_file("all.xlsx", COMPOUND),
        "unreadable",
        "save it as .xlsx",
    ),
    "a password": (write_file("all.xlsx", ENCRYPTED), "unreadable", "remove the password"),
    "a web page": (
        write_file("all.xlsx", b"<html><table></table></html>"),
        "unreadable",
        "no workbook but a web page",
    ),
    "nothing": (write_file("all.xlsx", b""), "unreadable", "It is empty"),
    "blank text": (write_file("episodes.csv", b"\r\n\r\n"), "unreadable", "It is empty"),
    "a workbook cut off": (cut_off, "unreadable", "copy or save it again"),
    "a workbook called text": (call_it_text, "unreadable", "let its name end in .xlsx"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_it_is_refused_with_a_sentence_that_says_what_to_do(folder, plan, case):
    make, rule, sentence = REFUSED[case]
    received = receive_delivery(make(folder), plan)
    assert not received.accepted
    problems = received.tables["problems"]
    problems = problems[problems["rule"].eq(rule)]
    assert sentence in " ".join(problems["message"] + " " + problems["how_to_fix"])
    assert "illfeather" not in received.tables["problems"].to_csv()


def test_one_and_two_are_a_code_of_its_own_and_not_guessed(receive, tables):
    for treatment, number in zip(tables["treatments"], (1, 2, 1), strict=True):
        treatment["completed"] = number
    assert places_of(receive(tables), "not_in_list") == [
        ("treatments", row, "completed") for row in (2, 3, 4)
    ]


def test_problems_name_the_rows_that_the_spreadsheet_shows(folder, plan):
    tables = plain_tables()
    tables["examinations"][1]["vertigo"] = "dizzy"
    grids = to_grids(tables)
    received = receive_delivery(
        write_csv(folder, {n: [[n], [], *grid] for n, grid in grids.items()}), plan
    )
    assert places_of(received, "not_in_list") == [("examinations", 5, "vertigo")]


def test_a_header_that_comes_twice_keeps_the_rows_between(folder, plan):
    grids = to_grids(plain_tables())
    grids["episodes"].append(grids["episodes"][0])
    received = receive_delivery(write_csv(folder, grids), plan)
    counts = received.tables["row_counts"].set_index("table").loc["episodes"]
    assert (counts["rows_in"], counts["rows_stored"], counts["rows_set_aside"]) == (4, 3, 1)


@pytest.mark.skipif(not shutil.which("soffice"), reason="LibreOffice is not installed")
def test_what_another_program_saves_is_read(folder, plan, plain, tmp_path):
    path = next(put_titles_above(tmp_path / "made" / "S01" / "001").iterdir())
    command = [
        "soffice",
        "--headless",
        f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}",
        "--convert-to",
        "xlsx",
        "--outdir",
    ]
    subprocess.run([*command, str(folder), str(path)], check=True, capture_output=True)
    assert zipfile.is_zipfile(folder / path.name)
    received = receive_delivery(folder, plan)
    assert received.accepted, rules_of(received)
    for name, rows in stored(received).items():
        pd.testing.assert_frame_equal(rows, plain[name])
