"""A text in the plain form is split column by column, and as it would be cell by cell;
any other text is not."""

import csv

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake import read_csv
from schemas.site_map import SiteMap

SIGNS = (
    "a",
    "b ",
    " ",
    "1,5",
    "NULL",
    "NaN",
    "#N/A",
    "",
    "\u200b",
    "\ufeff",
    "é",
    "\x85",
    "\u2028",
    "\v",
    "\t",
    '"',
)
CELLS = st.sampled_from([sign for sign in SIGNS if "," not in sign and sign != '"'])
LINES = st.sampled_from(["\n", "\r\n", "\n\n", "\r"])
SQUARE = st.integers(1, 4).flatmap(
    lambda width: st.lists(
        st.lists(CELLS, min_size=width, max_size=width).map(",".join), min_size=1, max_size=14
    )
)
RAGGED = st.lists(st.lists(st.sampled_from(SIGNS), max_size=4).map(",".join), max_size=14)


def describe(content: bytes) -> object:
    """All that is read of a text, or which fault it has."""
    try:
        sheet, met = read_csv.read_csv(content, "episodes", "file 1", SiteMap())
    except (read_csv.NoTable, csv.Error, UnicodeDecodeError) as fault:
        return type(fault), str(fault)
    cells = sheet.cells.index.tolist(), sheet.cells.dtypes.tolist(), sheet.cells.to_numpy().tolist()
    return (
        sheet.header_row,
        sheet.header,
        sheet.names,
        cells,
        sheet.outside.to_numpy().tolist(),
        met,
    )


@settings(max_examples=300)
@given(st.one_of(SQUARE, RAGGED), LINES, st.booleans(), st.sampled_from(["utf-8", "utf-16"]))
def test_same_as_split_cell_by_cell(lines, end, ends, encoding):
    content = (end.join(lines) + end * ends).encode(encoding)
    quickly, plainly = describe(content), read_csv.split_plainly
    read_csv.split_plainly = lambda text, separator: None
    try:
        assert quickly == describe(content)
    finally:
        read_csv.split_plainly = plainly


def test_which_texts_are_plain():
    assert read_csv.split_plainly("a,b\n1, 2 \n,x\n", ",")[1].tolist() == ["b", "2", "x"]
    for text in ('a,b\n"1",2\n', "a,b\n1\n", "a,b\n1,2,3\n", "a\n1\n", "a,b\r1,2\r", ""):
        assert read_csv.split_plainly(text, ",") is None
    long = "x" * (csv.field_size_limit() + 1)
    assert read_csv.split_plainly(f"a,b\n{long},2\n", ",") is None


def test_a_line_of_another_length_is_not_quoted():
    assert "Meier" not in str(read_csv.split_plainly("a,b\nMeier,Anna,1952\n", ","))


@pytest.mark.parametrize("code", range(32))
def test_line_of_the_first_control_character_is_told(code):
    content = f"episode_id,sex\nE1,f\nE2,{chr(code)}f\nE3,\x1ff\n".encode()
    first = 4 if chr(code) in "\t\n\v\f\r" else 3
    line = first + (chr(code) == "\n")
    with pytest.raises(read_csv.NoTable, match=f"the first in line {line}:"):
        read_csv.read_csv(content, "episodes", "file 1", SiteMap())
