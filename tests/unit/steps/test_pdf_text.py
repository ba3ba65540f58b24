"""The words of a PDF are found as its reader sees them, though they are packed and are glyphs."""

import pytest
import typst

from pipeline.steps.pdf_text import read_glyphs, read_texts

PLACES = {
    "text": b"Episode EP-0042 was seen.",
    "letters apart": b'#for letter in "EP-0042" [#box(letter)#h(2pt)]',
    "a heading of the outline": b"= About EP-0042",
    "a title": b'#set document(title: "EP-0042")\n Nothing.',
    "what a picture shows": b'#figure(rect(), alt: "EP-0042")',
}


def holds(content: bytes, code: str) -> bool:
    return any(code in text for text in read_texts(content))


@pytest.mark.parametrize("place", PLACES)
def test_a_code_is_found_wherever_it_stands(place):
    content = typst.compile(PLACES[place])
    assert not holds(content, "EP-0043")


def test_ranges_of_glyphs_are_read_by_their_first_sign_or_their_list():
    table = b"2 beginbfrange\n<0001> <0003> <0041>\n<0005> <0006> [<0061> <00660069>]\nendbfrange"
    assert read_glyphs(table) == {1: "A", 2: "B", 3: "C", 5: "a", 6: "fi"}


def test_what_is_no_pdf_is_read_as_it_is():
    assert list(read_texts(b"stream\nno stream")) == ["stream\nno stream"]
