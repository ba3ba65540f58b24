"""The pictures of the coordinator's guide are of the page as it is today, told by fingerprints and
without a browser."""

import json

import pytest
from PIL import Image

from pipeline.coordinator.guide import PICTURES
from tests.guide_pictures import COLOURS, FINE, SHOTS, fingerprint, render_pages

AGAIN = "python -m tests.guide_pictures, then ./run guide --out docs/guide.pdf"
MOST_BYTES = 400_000  # of all pictures together


@pytest.fixture(scope="module")
def told():
    return json.loads((PICTURES / "pictures.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def pages(plan, tmp_path_factory):
    return render_pages(plan, tmp_path_factory.mktemp("pages"))


@pytest.mark.parametrize("name", SHOTS)
def test_a_picture_is_of_the_page_of_today(name, told, pages):
    assert told[name]["of"] == fingerprint(pages[SHOTS[name].page], SHOTS[name]), AGAIN


def test_a_change_of_a_page_or_of_what_is_taken_is_noticed(pages):
    start, check = SHOTS["start"], SHOTS["check"]
    page = pages["start"]
    seen = {
        fingerprint(page, start),
        fingerprint(page, check),
        fingerprint(page.replace("Save the workbook", "Save the book"), start),
        fingerprint(page.replace("--ink: #1e2a35", "--ink: #1e2a36"), start),
    }
    assert len(seen) == 4


def test_the_name_of_a_check_is_not_part_of_what_is_compared(pages):
    verdict, shot = pages["slips"], SHOTS["verdict"]
    assert "/checks/" in verdict
    other = verdict.replace("/checks/", "/checks/another-")
    assert fingerprint(other, shot) == fingerprint(verdict, shot)


def test_all_pictures_are_there_small_and_as_large_as_is_told(told):
    files = {path.stem: path for path in PICTURES.glob("*.png")}
    assert set(files) == set(told) == set(SHOTS)
    assert sum(path.stat().st_size for path in files.values()) < MOST_BYTES
    for name, path in files.items():
        with Image.open(path) as picture:
            assert len(picture.getcolors()) <= COLOURS
            for pixels, size in zip(picture.size, ("width", "height"), strict=True):
                assert abs(pixels - FINE * told[name][size]) <= FINE
