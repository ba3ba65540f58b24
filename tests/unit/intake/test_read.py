"""Reading: whatever the dialect, the same rows; whatever is broken,
a problem and never an error."""

import os
import warnings
import zipfile

import pandas as pd
import pytest
from openpyxl import load_workbook

from pipeline.intake import read
from pipeline.intake.read import read_delivery
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


def stored(received) -> dict[str, pd.DataFrame]:
    """The stored rows without the fingerprint of the file that they came from."""
    return {name: received.tables[name].drop(columns="source_sha256") for name in TABLES}


def assert_same_rows(one, other):
    for name, rows in stored(one).items():
        pd.testing.assert_frame_equal(rows, stored(other)[name])


def test_a_spreadsheet_dialect_gives_the_same_rows_as_the_plain_one_and_says_what_it_met(
    receive, tables
):
    plain = receive(tables)
    dialect = receive(tables, separator=";", decimal=",", mark="\ufeff", end="\r\n")
    assert_same_rows(plain, dialect)
    assert plain.tables["problems"].empty
    assert rules_of(dialect) == {"read_with_help"}
    messages = set(
        dialect.tables["problems"]["message"].str.removeprefix(
            "The file was read, but not as the dictionary describes it. "
        )
    )
    assert messages == {
        "It begins with a byte-order mark.",
        "Its cells are separated by semicolons.",
        "Its lines end as on Windows (CRLF).",
        "Decimal commas.",
    }
    assert set(places_of(dialect, "read_with_help")) >= {
        ("examinations", None, "latency_s"),
        ("followups", None, "vas_0_10"),
    }


def test_a_byte_order_mark_before_a_quoted_name_is_no_part_of_it(folder, plan):
    path = write_csv(folder, to_grids(plain_tables())) / "episodes.csv"
    path.write_text(
        "\ufeff" + path.read_text("utf-8").replace("episode_id", '"episode_id"', 1), "utf-8"
    )
    assert receive_delivery(folder, plan).accepted


def test_a_workbook_gives_the_same_rows_as_csv(receive, tables, folder, plan, tmp_path):
    plain = receive(tables)
    tables["submission"]["delivery"] = 1  # as a spreadsheet turns 001
    book = receive_delivery(
        write_book(tmp_path / "other" / "S01" / "001", build_book(to_grids(tables))), plan
    )
    assert_same_rows(plain, book)
    assert plain.tables["deliveries"]["form"].tolist() + book.tables["deliveries"][
        "form"
    ].tolist() == [
        "csv",
        "workbook",
    ]


def test_blanks_capitals_and_whole_numbers_with_a_fraction_are_read(receive, tables):
    plain = receive(tables)
    tables["episodes"][0] |= {
        "episode_id": "ep-1\u00a0",
        "sex": " Female",
        "onset_day": "-3.0",
        "index_year": "\u200b2024",
    }
    helped = receive(tables)
    assert_same_rows(plain, helped)
    assert places_of(helped, "read_with_help") == [
        ("episodes", None, "episode_id"),
        ("episodes", None, "sex"),
    ]


def test_column_names_may_be_written_with_capitals(folder, plan):
    grids = to_grids(plain_tables())
    grids["followups"][0] = [name.upper() for name in grids["followups"][0]]
    received = receive_delivery(write_csv(folder, grids), plan)
    assert received.accepted
    assert places_of(received, "read_with_help") == [("followups", 1, None)]


def test_rows_are_numbered_as_the_spreadsheet_shows_them_and_blank_ones_are_no_rows(folder, plan):
    grids = to_grids(plain_tables())
    grids["followups"][2:2] = [[None] * len(grids["followups"][0]), []]
    for path in (
        write_csv(folder, grids),
        write_book(folder.parent.parent / "o" / "S01" / "001", build_book(grids)),
    ):
        received = receive_delivery(path, plan)
        assert received.tables["followups"]["row"].tolist() == [2, 5, 6]
        assert received.tables["row_counts"].set_index("table").at["followups", "rows_in"] == 3


def test_short_rows_are_filled_up_and_long_ones_are_set_aside(folder, plan):
    grids = to_grids(plain_tables())
    grids["examinations"][1] = grids["examinations"][1][:-3]
    grids["examinations"][2].append("x")
    received = receive_delivery(write_csv(folder, grids), plan)
    assert places_of(received, "too_many_cells") == [("examinations", 3, None)]
    assert received.tables["examinations"]["row"].tolist() == [2, 4, 5]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        (".5", 0.5),
        (",5", 0.5),
        ("-.5", -0.5),
        (".25", 0.25),
        ("5.", None),
        (".5.", None),
        ("1,234", None),
    ],
)
def test_a_number_may_begin_with_its_point_and_not_end_with_it(receive, tables, text, value):
    """`5.` is not guessed: a digit may be lost."""
    tables["examinations"][0]["latency_s"] = text
    received = receive(tables)
    stored, problems = received.tables["examinations"], received.tables["problems"]
    row = stored.loc[stored["row"].eq(2), "latency_s"]
    if value is None or value < 0:
        assert row.empty
        assert set(problems.loc[problems["row"].eq(2), "rule"]) == {
            "not_a_number" if value is None else "too_small"
        }
    else:
        assert row.tolist() == [value]


def test_a_comma_that_could_part_thousands_is_not_guessed(receive, tables):
    tables["examinations"][0]["duration_s"] = "1,200"
    tables["examinations"][1]["duration_s"] = "0,125"
    received = receive(tables)
    assert places_of(received, "not_a_number") == [("examinations", 2, "duration_s")]
    assert received.tables["examinations"].set_index("row").at[3, "duration_s"] == 0.125


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("S01.xlsx", b"no workbook, Zacharias Quillfeather"),
        ("S01.xlsx", b"PK\x03\x04 cut off"),
        ("episodes.csv", b'a,b\n"Quillfeather'),
        ("episodes.csv", b"PK\x03\x04\x00\xff\xfe"),
        ("episodes.csv", b"Quillfeather\x00,sex\n"),
    ],
)
def test_what_cannot_be_read_is_refused_without_being_quoted(folder, plan, name, content):
    folder.mkdir(parents=True)
    (folder / name).write_bytes(content)
    received = receive_delivery(folder, plan)
    assert not received.accepted
    assert "unreadable" in rules_of(received)
    assert "illfeather" not in "".join(rows.to_csv() for rows in received.tables.values())


def test_a_workbook_that_was_cut_off_is_unreadable(folder, plan):
    path = write_book(folder, build_book(to_grids(plain_tables()))) / "S01_001.xlsx"
    path.write_bytes(path.read_bytes()[:4000])
    received = receive_delivery(folder, plan)
    assert rules_of(received) == {"unreadable"}
    assert received.tables["problems"]["message"].tolist() == [
        "The file cannot be read. Its end is missing, as after an interrupted copy: copy or save "
        "it again."
    ]
    assert received.tables["row_counts"]["rows_in"].sum() == 0


def test_a_table_renamed_to_a_workbook_is_unreadable(folder, plan):
    write_csv(folder, {"episodes": to_grids(plain_tables())["episodes"]})
    (folder / "episodes.csv").rename(folder / "S01.xlsx")
    assert rules_of(receive_delivery(folder, plan)) == {"unreadable"}


def test_a_format_far_below_makes_no_rows(folder, plan):
    book = build_book(to_grids(plain_tables()))
    book["episodes"].cell(1_048_576, 16_384).style = "Percent"
    assert receive_delivery(write_book(folder, book), plan).accepted


def test_a_formula_is_read_by_its_result_and_refused_without_one(folder, plan):
    book = build_book(to_grids(plain_tables()))
    book["examinations"]["B2"] = "=1-1"
    path = write_book(folder, book)
    received = receive_delivery(path, plan)
    assert places_of(received, "formula_without_result") == [("examinations", 2, "day")]
    save_results(path / "S01_001.xlsx")
    assert receive_delivery(path, plan).accepted


def save_results(path):
    """Enter the result 0 beside each formula, as a spreadsheet program does on saving."""
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name) for name in book.namelist()}
    with zipfile.ZipFile(path, "w") as book:
        for name, content in parts.items():
            book.writestr(
                name,
                content.replace(b"<v></v>", b"<v>0</v>")
                .replace(b"<v/>", b"<v>0</v>")
                .replace(b"<v />", b"<v>0</v>"),
            )
    assert load_workbook(path, data_only=True)["examinations"]["B2"].value == 0


def test_reading_warns_nobody(folder):
    book = build_book(to_grids(plain_tables()))
    book["episodes"]["F2"].value = 99_999_999
    book["episodes"]["F2"].number_format = "yyyy-mm-dd"
    write_book(folder, book)
    with warnings.catch_warnings():
        # the library's warning quotes the cell; as an error it spoils the reading
        warnings.simplefilter("error")
        assert read_delivery(folder).problems == ()


def test_the_fingerprint_follows_names_and_bytes(folder, tables):
    first = read_delivery(write_csv(folder, to_grids(tables))).fingerprint
    assert read_delivery(folder).fingerprint == first
    tables["episodes"][0]["sex"] = "male"
    assert read_delivery(write_csv(folder, to_grids(tables))).fingerprint != first


def test_a_file_that_vanishes_while_the_delivery_is_read_refuses_it(folder, plan, monkeypatch):
    path = write_csv(folder, to_grids(plain_tables())) / "episodes.csv"
    monkeypatch.setattr(read, "find_mismatch", lambda file: path.unlink(missing_ok=True))
    received = receive_delivery(folder, plan)
    assert not received.accepted
    assert received.tables["problems"]["message"].str.contains("is gone").any()


@pytest.mark.parametrize("left", ["folder", "nothing"])
def test_a_delivery_without_files_is_refused(folder, plan, left):
    folder.mkdir(parents=True, exist_ok=True)
    if left == "nothing":
        folder.rmdir()
    received = receive_delivery(folder, plan)
    assert not received.accepted
    assert (
        received.tables["problems"]["message"].str.contains("There is no file in its folder").all()
    )


@pytest.mark.skipif(os.name == "nt", reason="links need rights of their own there")
def test_neither_a_link_nor_a_pipe_is_opened(folder, plan):
    write_csv(folder, to_grids(plain_tables()))
    theirs = folder.parent.parent / "theirs"
    folder.rename(theirs)
    folder.mkdir()
    for path in theirs.iterdir():
        (folder / path.name).symlink_to(path)
    os.mkfifo(folder / "more.csv")  # whoever opens it waits for ever
    (folder / "Zacharias Quillfeather.csv").symlink_to("nowhere")
    handed = read_delivery(folder)
    assert handed.sheets == ()
    problems = receive_delivery(folder, plan).tables["problems"]
    assert set(problems["rule"]) == {"stands_for_another"}
    assert set(problems["table"]) == {"file 1", "file 5", "submission", *TABLES}
    assert "It is a pipe." in problems.set_index("table").loc["file 5", "message"]


@pytest.mark.skipif(os.name == "nt", reason="links need rights of their own there")
@pytest.mark.parametrize("linked", ["delivery", "site"])
def test_a_folder_that_is_a_link_is_refused_and_not_entered(folder, plan, linked):
    write_csv(folder, to_grids(plain_tables()))
    path = folder if linked == "delivery" else folder.parent
    path.rename(path.with_name("theirs"))
    path.symlink_to("theirs")
    received = receive_delivery(folder, plan)
    problems = received.tables["problems"]
    assert problems["rule"].tolist() == ["stands_for_another"]
    assert problems["table"].str.upper().tolist() == [path.name]
    assert received.tables["deliveries"]["status"].tolist() == ["refused"]
